/* Search by the name or number of a road; the index is made when it is first asked for. */
const FOUND_MOST = 8;
let roadIndex = null;
const LETTERS = { "ł": "l", "ø": "o", "đ": "d", "ð": "d", "þ": "th", "ß": "ss", "æ": "ae", "œ": "oe", "ı": "i" };
const plainText = (text) => text.toLowerCase().normalize("NFD").replace(/\p{M}/gu, "")
  .replace(/[łøđðþßæœı]/g, (letter) => LETTERS[letter]).replace(/\s+/g, " ").trim();

function makeIndex() {
  const found = new Map();
  data.roads.features.forEach((feature, i) => {
    const { t, q, z } = feature.properties;
    if (z) return;
    if (!found.has(t)) found.set(t, { name: t, keys: new Set([plainText(t)]), rows: [], routes: new Set() });
    const road = found.get(t);
    road.rows.push(i);
    if (q) {
      road.routes.add(q);
      road.keys.add(plainText(q));
    }
  });
  return [...found.values()];
}
/* Names that begin so come first, then those with a word that does, then those that hold it. */
function ranked(road, wanted) {
  let best = 9;
  for (const key of road.keys) {
    const place = key.indexOf(wanted);
    if (place < 0) continue;
    best = Math.min(best, place === 0 ? 0 : key[place - 1] === " " ? 1 : 2);
  }
  return best;
}
function find() {
  const wanted = plainText(at("search").value);
  const list = at("search_results");
  list.replaceChildren();
  list.hidden = true;
  at("search_status").textContent = "";
  if (!wanted) return;
  roadIndex = roadIndex || makeIndex();
  const found = roadIndex.map((road) => [ranked(road, wanted), road]).filter(([how]) => how < 9)
    .sort((a, b) => a[0] - b[0] || a[1].name.localeCompare(b[1].name));
  for (const [, road] of found.slice(0, FOUND_MOST)) {
    const other = [...road.routes].filter((route) => route !== road.name).slice(0, 3).join(", ");
    choice(put(list, "li"), other ? `${road.name} (${other})` : road.name, () => go(road));
  }
  const more = found.length - FOUND_MOST;
  const words = found.length === 0 ? page.words.no_road : more > 0 ? `${more} ${page.words.more_roads}` : "";
  if (words) put(list, "li", words, "small");
  at("search_status").textContent = `${found.length} ${found.length === 1 ? "road" : "roads"} found`;
  list.hidden = false;
}
/* All of the road in view, and the sheet of its longest piece. */
function go(road) {
  const layers = roads_layer.getLayers();
  const parts = road.rows.map((i) => layers[i].getLatLngs());
  const size = (i) => layers[i].getBounds().getSouthWest().distanceTo(layers[i].getBounds().getNorthEast());
  const long = road.rows.reduce((a, b) => (size(b) > size(a) ? b : a));
  at("search").focus();
  at("search_results").hidden = true;
  at("search_status").textContent = "";
  at("search").value = road.name;
  choose("roads", data.roads.features[long], layers[long], parts);
}
function startSearch() {
  at("search").addEventListener("input", find);
  at("search").addEventListener("focus", () => { if (at("search").value) find(); });
  at("search_box").addEventListener("keydown", (event) => {
    const all = [at("search"), ...at("search_results").querySelectorAll("button")];
    const here = all.indexOf(document.activeElement);
    if (event.key === "Escape" && !at("search_results").hidden) {
      at("search_results").hidden = true;
      at("search").focus();
      at("search_results").hidden = true;
      event.stopPropagation();
    } else if (event.key === "Enter" && here === 0 && all.length > 1) {
      event.preventDefault();
      all[1].click();
    } else if ((event.key === "ArrowDown" || event.key === "ArrowUp") && all.length > 1 && !at("search_results").hidden) {
      event.preventDefault();
      all[Math.max(0, Math.min(all.length - 1, here + (event.key === "ArrowDown" ? 1 : -1)))].focus();
    }
  });
  at("search_box").addEventListener("focusout", (event) => {
    if (!at("search_box").contains(event.relatedTarget)) at("search_results").hidden = true;
  });
}
