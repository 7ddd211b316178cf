/* Filters of reports by season, sex, alive or dead, year; steps across a road follow season, sex
   and year. Nothing is asked of a server. */
const filterIds = ["season", "sex", "state", "year"];
const asked = { season: "", sex: "", state: "", year: "" };
const filtered = () => filterIds.some((id) => asked[id] !== "");
const filterLayers = ["reports", "crossings", "counts"];
const every = {};

function fits(month, year, sex, state) {
  if (asked.season !== "" && !page.filters.season[Number(asked.season)][1].includes(month)) return false;
  if (asked.year !== "" && year !== Number(asked.year)) return false;
  if (asked.sex !== "" && sex !== asked.sex) return false;
  return asked.state === "" || state === asked.state;
}
/* A piece of road has the kinds of report on it as [year, month, sex, state, how many]. */
function manyOf(feature) {
  return feature.properties.c.reduce((sum, c) => sum + (fits(c[1], c[0], c[2], c[3]) ? c[4] : 0), 0);
}
function shownOf(name, layer) {
  const mine = layer.feature.properties;
  if (name === "counts") return manyOf(layer.feature);
  /* An animal that steps across a road is alive. */
  return fits(mine.m, mine.y, mine.x, name === "crossings" ? "a" : mine.a) ? 1 : 0;
}
function countWords(feature, layer) {
  const all = feature.properties.n;
  return filtered() ? `${layer.many} of ${all}, ${page.filters.as_asked}` : String(all);
}

const reportsIn = (name) => (data[name] ? data[name].features.reduce((sum, f) => sum + (f.properties.n || 1), 0) : 0);
/* Before the map is laid out, since it has what room the filters leave. */
function layFilters() {
  const total = reportsIn("reports") + reportsIn("counts");
  for (const id of ["filters", "filter_toggle", "filter_count"]) at(id).hidden = !total;
  options("season", page.filters.season.map(([text], i) => [String(i), text]));
  for (const id of ["sex", "state", "year"]) options(id, page.filters[id].map(([key, text]) => [String(key), text]));
  tell(total, total);
}
function tell(left, total) {
  at("filter_count").textContent = `${left.toLocaleString("en")} of ${total.toLocaleString("en")} reports shown`;
  at("filter_clear").disabled = !filtered();
}
function startFilters() {
  for (const name of filterLayers.filter((n) => data[n])) every[name] = layerOf(name).getLayers();
  const total = reportsIn("reports") + reportsIn("counts");
  at("filter_clear").addEventListener("click", () => {
    for (const id of filterIds) at(`filter_${id}`).value = asked[id] = "";
    sift(total);
    at("filter_season").focus();
  });
  at("filter_toggle").addEventListener("click", () => {
    const on = at("filters").classList.toggle("unfolded");
    at("filter_toggle").setAttribute("aria-expanded", on ? "true" : "false");
    if (on && small()) at("panel").open = false;
    map.invalidateSize({ animate: false });
  });
  for (const id of filterIds) {
    at(`filter_${id}`).addEventListener("change", (event) => {
      asked[id] = event.target.value;
      sift(total);
    });
  }
}
function options(id, pairs) {
  const box = at(`filter_${id}`);
  for (const [value, text] of [["", page.filters.all], ...pairs]) {
    const option = put(box, "option", text);
    option.value = value;
  }
}
/* Takes what isn't asked for off the map and says how much is left. */
function sift(total) {
  let left = 0;
  for (const name of Object.keys(every)) {
    const group = layerOf(name);
    for (const layer of every[name]) {
      const many = shownOf(name, layer);
      if (name !== "crossings") left += many;
      if (name === "counts" && many) {
        layer.many = many;
        layer.setRadius(countRadius(many));
      }
      if (many && !group.hasLayer(layer)) group.addLayer(layer);
      if (!many && group.hasLayer(layer)) group.removeLayer(layer);
      else if (many && map.hasLayer(layer)) layer.redraw();
    }
  }
  tell(left, total);
  map_box.classList.toggle("filtered", filtered());
  inOrder(points);
}
