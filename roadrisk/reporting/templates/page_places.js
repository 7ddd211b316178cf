/* The ranked list, stretches and proposed sites: rows in the panel, signs and names on the map. */
const chips = [];
const letters = [];
const ladders = [];
const siteTags = [];
const siteDashes = [];

/* Room that the open legend takes from the map. */
const beside = () => (!small() && at("legend").open ? at("legend").offsetWidth + 40 : 40);
function row(list, sign, kind, texts, spoken) {
  const button = put(put(at(list), "li"), "button");
  button.type = "button";
  button.setAttribute("aria-pressed", "false");
  put(button, "span", spoken, "spoken");
  put(button, "span", sign, kind);
  const words = put(button, "span", "", "words");
  for (const [text, look] of texts) put(words, "span", text, look);
  return button;
}
function addRow(feature, layer, texts) {
  const mine = feature.properties;
  const on = `, on ${mine.n}`;
  const where = mine.v[0].endsWith(on) ? mine.v[0].slice(0, -on.length) : mine.v[0];
  const all = [[mine.n, "road"], [where, "place"], [texts[0], "value"]];
  for (const text of texts.slice(1)) all.push([text, "place"]);
  const button = row("list", String(mine.r), mine.s ? "rank stands_out" : "rank", all, "Rank ");
  button.addEventListener("click", () => choose("windows", feature, layer));
  buttons.set(mine.r, button);
}
function addStretch(feature, layer, texts) {
  const all = texts.map((text, i) => [text, i === 0 ? "road" : "place"]);
  const button = row("stretch_list", feature.properties.l, "tag", all, "Stretch ");
  button.addEventListener("click", () => choose("stretches", feature, layer));
  placeButtons.set(feature.properties, button);
}
const siteSign = (feature) => `S${feature.properties.n}`;
function addSite(feature, layer, texts) {
  const all = texts.map((text, i) => [text, ["road", "place", "value", "value"][i] || "place"]);
  const button = row("measure_list", siteSign(feature), "site", all, "Site ");
  button.addEventListener("click", () => choose("measures", feature, layer));
  placeButtons.set(feature.properties, button);
  const dashes = L.polyline(layer.getLatLngs(), Object.assign({ interactive: false }, style.dashes()));
  siteDashes.push(dashes);
  endBars(layer.getLatLngs().flat(), "site_end").forEach((bar) => measures_layer.addLayer(bar));
  measures_layer.addLayer(dashes);
  const element = document.createElement("span");
  element.className = "site";
  element.textContent = siteSign(feature);
  const tag = badge(middle(longest(layer)), element, [30, 22], [37, 31], 3000);
  tag.on("click", () => open("measures", feature, layer));
  measures_layer.addLayer(tag);
  siteTags.push(tag);
}
function badge(place, element, size, anchor, above) {
  const icon = L.divIcon({ html: element, className: "chip_box", iconSize: size, iconAnchor: anchor });
  return L.marker(place, { icon, keyboard: false, zIndexOffset: above });
}
const longest = (layer) => layer.getLatLngs().reduce((a, b) => (b.length > a.length ? b : a));
/* A rank's disc; the worst ones have their road and number beside it. */
function addChip(feature, layer) {
  const mine = feature.properties;
  const element = document.createElement("span");
  element.className = mine.s ? "chip stands_out" : "chip";
  element.textContent = String(mine.r);
  const chip = badge(middle(layer.getLatLngs()), element, [24, 24], [-7, 31], 1000 - mine.r);
  chip.on("click", () => open("windows", feature, layer));
  windows_layer.addLayer(chip);
  const found = { rank: mine.r, chip, element, name: null };
  if (page.labels[mine.r]) {
    found.name = document.createElement("span");
    found.name.className = "name";
    put(found.name, "b", page.labels[mine.r][0]);
    put(found.name, "span", page.labels[mine.r][1]);
    found.sign = badge(middle(layer.getLatLngs()), found.name, [0, 0], [0, 0], 900 - mine.r);
    found.sign.on("click", () => open("windows", feature, layer));
    windows_layer.addLayer(found.sign);
  }
  chips.push(found);
}
/* A stretch's rungs, and its letter in a square below it; ranks are discs above their place. */
function addLetter(feature, layer) {
  const ladder = L.polyline(layer.getLatLngs(), Object.assign({ interactive: false }, style.ladder()));
  ladders.push(ladder);
  const element = document.createElement("span");
  element.className = "letter";
  element.textContent = feature.properties.l;
  const parts = layer.getLatLngs();
  const sign = badge(middle(longest(layer)), element, [24, 24], [33, -9], 2000);
  sign.on("click", () => open("stretches", feature, layer));
  endBars(parts.flat()).forEach((bar) => stretches_layer.addLayer(bar));
  stretches_layer.addLayer(ladder);
  stretches_layer.addLayer(sign);
  letters.push(sign);
}
/* A bar across each end, as on a dimension line: circles are reports and ranks. */
function endBars(line, kind = "end_bar") {
  const bar = (here, inward) => {
    const [a, b] = [here, inward].map((p) => map.project(p, 20));
    const element = document.createElement("span");
    element.className = kind;
    element.style.transform = `rotate(${Math.atan2(b.y - a.y, b.x - a.x)}rad)`;
    const icon = L.divIcon({ html: element, className: "chip_box", iconSize: [3, 22], iconAnchor: [1.5, 11] });
    return L.marker(here, { icon, keyboard: false, interactive: false, zIndexOffset: -1000 });
  };
  const n = line.length - 1;
  return [bar(line[0], line[1]), bar(line[n], line[n - 1])];
}
function middle(line) {
  const parts = line.slice(1).map((p, i) => p.distanceTo(line[i]));
  let left = parts.reduce((a, b) => a + b, 0) / 2;
  for (let i = 0; i < parts.length; i += 1) {
    if (left <= parts[i] && parts[i] > 0) {
      const f = left / parts[i];
      return [line[i].lat + f * (line[i + 1].lat - line[i].lat),
        line[i].lng + f * (line[i + 1].lng - line[i].lng)];
    }
    left -= parts[i];
  }
  return line[0];
}
/* Numbers that would cover a better rank's number, and all after the tenth, wait until the
   map is closer. */
function declutter() {
  const spot = (sign, dx, dy) => map.latLngToContainerPoint(sign.getLatLng()).add([dx, dy]);
  /* A letter's square lies to the lower left of its place, a site's tag to the upper left, a disc
     to the upper right. All by the middle of their boxes, with half widths and heights. */
  const taken = letters.map((m) => [spot(m, -21, 21), 12, 12]);
  taken.push(...siteTags.map((m) => [spot(m, -22, -20), 15, 11]));
  const free = (p, w, h) => taken.every(([q, u, v]) => Math.abs(q.x - p.x) > w + u - 1 || Math.abs(q.y - p.y) > h + v - 1);
  const first = (c) => (c.element.classList.contains("chosen") ? 0 : c.rank);
  const sorted = [...chips].sort((a, b) => first(a) - first(b));
  for (const c of sorted) {
    const p = spot(c.chip, 19, -19);
    const shown = (map.getZoom() >= 14.5 || first(c) <= 10) && free(p, 12, 12);
    c.element.hidden = !shown;
    if (shown) taken.push([p, 12, 12]);
  }
  const covered = covers();
  for (const c of sorted.filter((one) => one.name)) {
    c.name.hidden = false;
    const w = c.name.offsetWidth / 2, h = c.name.offsetHeight / 2;
    /* To the right, else to the left, below or above its place. */
    const ways = [[w + 34, -20], [-w - 42, 0], [0, h + 40], [0, -h - 36]];
    const way = c.element.hidden ? null : ways.find(([dx, dy]) => {
      const p = spot(c.sign, dx, dy);
      return free(p, w, h) && covered.every(([q, u, v]) => Math.abs(q.x - p.x) > w + u || Math.abs(q.y - p.y) > h + v);
    });
    c.name.hidden = !way;
    if (!way) continue;
    c.name.style.left = `${way[0] - w}px`;
    c.name.style.top = `${way[1] - h}px`;
    taken.push([spot(c.sign, way[0], way[1]), w, h]);
  }
}
/* What a name may not lie under, and the edges of the map. */
function covers() {
  const area = map.getContainer().getBoundingClientRect();
  const wide = area.width, high = area.height;
  const out = [[L.point(-500, high / 2), 504, high], [L.point(wide + 500, high / 2), 504, high],
    [L.point(wide / 2, -500), wide, 504], [L.point(wide / 2, high + 500), wide, 504]];
  const parts = [at("legend"), at("sheet"), ...map.getContainer().querySelectorAll(".leaflet-control")];
  for (const element of parts) {
    const box = element.getBoundingClientRect();
    if (!box.width) continue;
    out.push([L.point((box.left + box.right) / 2 - area.left, (box.top + box.bottom) / 2 - area.top),
      box.width / 2 + 2, box.height / 2 + 2]);
  }
  return out;
}
