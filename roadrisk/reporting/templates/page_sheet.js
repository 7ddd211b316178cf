/* Sheets: what is known of one place. */
let chosen = null;
let opener = null;
const buttons = new Map();
/* Of stretches and of proposed sites. */
const placeButtons = new Map();

function lines(kind, values) {
  const told = texted(values);
  return page.sheets[kind].map((label, i) => [label, told[i]]);
}
/* The first so many lines stand above the charts. */
function open(kind, feature, layer, parts) {
  const mine = feature.properties;
  let title = mine.t;
  let shown = lines(kind, mine.v);
  if (smooth.includes(kind)) {
    const road = (data.roads.features[mine.s] || { properties: { t: "", v: "" } }).properties;
    title = road.t;
    shown[0][1] += ` ${page.rates[kind]}`;
    if (road.v.length) shown = shown.concat(lines("roads", road.v));
  }
  if (kind === "counts") shown[0][1] = countWords(feature, layer);
  const here = document.activeElement;
  if (here && !at("sheet").contains(here)) opener = here.closest("#search_box") ? at("search") : here;
  const first = page.first[kind] || shown.length;
  at("sheet_title").textContent = title;
  write(at("sheet_first"), shown.slice(0, first), kind, mine);
  write(at("sheet_rest"), shown.slice(first), kind, mine);
  at("sheet_more").hidden = first >= shown.length;
  links(kind, mine);
  charts(kind, mine);
  at("sheet").hidden = false;
  at("sheet").scrollTop = 0;
  at("sheet_title").focus({ preventScroll: true });
  map_box.classList.add("with_sheet");
  mark(kind === "windows" ? mine.r : null, layer, mine, parts);
}
function write(list, shown, kind, mine) {
  list.replaceChildren();
  for (const [label, value] of shown) {
    if (!value) continue;
    put(list, "dt", label);
    const said = put(list, "dd", value);
    if (kind === "stretches" && label === page.years) yearPicture(list, mine, said);
  }
}
/* A picture can run nothing; its words stand in the line above it. */
function yearPicture(list, mine, said) {
  if (!mine.y) return;
  const box = put(list, "dd", "", "wide");
  const picture = put(box, "img");
  picture.alt = `${page.years}: ${said.textContent}`;
  picture.src = mine.y;
  page.chart.forEach((text) => put(box, "p", text));
}
/* What else is known of the same piece of road, to go to. */
function links(kind, mine) {
  const box = at("sheet_links");
  box.replaceChildren();
  const found = page.links[kind] ? page.links[kind][numberOf(kind, mine)] || [] : [];
  box.hidden = found.length === 0;
  if (found.length) put(box, "p", page.words.same_place);
  for (const [other, number] of found) {
    const layer = layerOf(other).getLayers().find((l) => l.feature && numberOf(other, l.feature.properties) === number);
    if (layer) choice(box, layer.feature.properties.t, () => choose(other, layer.feature, layer));
  }
}
const numberOf = (kind, mine) => ({ windows: mine.r, stretches: mine.k, measures: mine.n }[kind]);

/* A click on a road is asked of the layer, since there may be very many roads. */
const each = Object.fromEntries(order.map((kind) => [kind, kind === "roads" ? () => {}
  : (feature, layer) => layer.on("click", () => open(kind, feature, layer))]));

function close() {
  at("sheet").hidden = true;
  map_box.classList.remove("with_sheet");
  mark(null, null, null);
  const back = opener && opener.isConnected && opener !== document.body ? opener : map.getContainer();
  opener = null;
  if (at("panel_inside").contains(back)) at("panel").open = true;
  back.focus({ preventScroll: !at("panel_inside").contains(back) });
}
/* Shows which row and which piece of road the sheet is about. */
function mark(rank, layer, place, parts) {
  const press = (b, on) => b.setAttribute("aria-pressed", on ? "true" : "false");
  buttons.forEach((b, r) => press(b, r === rank));
  placeButtons.forEach((b, mine) => press(b, mine === place));
  chips.forEach((c) => c.element.classList.toggle("chosen", c.rank === rank));
  if (chosen) chosen.remove();
  chosen = null;
  if (parts || (layer && layer.getLatLngs)) {
    const all = parts || layer.getLatLngs();
    const line = Array.isArray(all[0]) ? all.flat() : all;
    chosen = L.layerGroup([
      L.polyline(all, { color: "#fff", weight: 6, interactive: false }),
      L.polyline(all, { color: page.ink, weight: 3, interactive: false }),
      ...(parts ? [] : endBars(line)),
    ]).addTo(map);
  } else if (layer && layer.getLatLng) {
    chosen = L.circleMarker(layer.getLatLng(), {
      radius: (layer.getRadius ? layer.getRadius() : 4.5) + 5.5, color: page.accent, weight: 2.5, fill: false,
      interactive: false,
    }).addTo(map);
  }
  declutter();
}
/* Opens a place's sheet and brings the place into view beside it. */
function choose(kind, feature, layer, parts) {
  open(kind, feature, layer, parts);
  if (small()) at("panel").open = false;
  map.invalidateSize({ animate: false });
  const sheet = at("sheet").getBoundingClientRect();
  const edge = small() ? [30, sheet.height + 30] : [sheet.width + 40, 60];
  const bounds = parts ? L.latLngBounds(parts.flat()) : layer.getBounds();
  map.fitBounds(bounds, {
    maxZoom: 16, paddingTopLeft: [beside(), 60], paddingBottomRight: edge, animate: !still(),
  });
}
