/* The map itself: starting it, which view, which layer lies above which. */
function start() {
  texts();
  layFilters();
  legend(smooth[0] || "");
  at("panel").open = !small();
  at("legend").open = !small();
  map = L.map("roads_map", {
    renderer: L.canvas({ tolerance: 4, padding: 0.4 }), zoomSnap: 0.25, maxZoom: 20, attributionControl: false,
    zoomAnimation: !still(), fadeAnimation: !still(), inertia: !still(),
  });
  show(page.focus);
  new ResizeObserver(() => map.invalidateSize({ animate: false })).observe(map.getContainer());
  allRoads();
  L.control.attribution({ prefix: false }).addTo(map).addAttribution(page.credit);
  L.control.scale({ metric: page.metric, imperial: !page.metric, position: "bottomright" }).addTo(map);
  map.getContainer().setAttribute("role", "region");
  map.getContainer().setAttribute("aria-label", page.words.map);
  return map;
}
/* Beside the open legend or above it, whichever shows the place larger. */
function show(bounds) {
  const above = small() || !at("legend").open ? 40 : at("legend").offsetHeight + 30;
  const room = [[[beside(), 44], [40, 40]], [[40, 44], [40, above]]];
  const zoom = room.map(([a, b]) => map.getBoundsZoom(bounds, false, L.point(a).add(b)));
  const [topLeft, bottomRight] = room[zoom[0] >= zoom[1] ? 0 : 1];
  map.fitBounds(bounds, { paddingTopLeft: topLeft, paddingBottomRight: bottomRight, animate: false });
}
/* The first view shows the worst places; this shows all. */
function allRoads() {
  const All = L.Control.extend({
    options: { position: "topleft" },
    onAdd() {
      const box = L.DomUtil.create("div", "leaflet-bar all_roads");
      choice(box, page.words.all_roads, () => show(page.bounds));
      L.DomEvent.disableClickPropagation(box);
      return box;
    },
  });
  map.addControl(new All());
}
function inOrder(names = order) {
  for (const name of order.filter((one) => names.includes(one))) {
    if (map.hasLayer(layerOf(name))) layerOf(name).bringToFront();
    if (name === "stretches" && map.hasLayer(stretches_layer)) ladders.forEach((l) => l.bringToFront());
    if (name === "measures" && map.hasLayer(measures_layer)) siteDashes.forEach((l) => l.bringToFront());
  }
  if (chosen) chosen.eachLayer((l) => l.bringToFront && l.bringToFront());
}
let firstBounds = null;
let drawnThin = null;
/* Before the closer map is drawn, so that it is drawn once: options are set, and no more. */
function resize() {
  if (thin() === drawnThin) return;
  drawnThin = thin();
  for (const name of smooth) layerOf(name).eachLayer((layer) => Object.assign(layer.options, style[name](layer.feature)));
  const set = (group, also, mine, theirs) => layerOf(group).eachLayer((layer) => layer.setStyle
    && Object.assign(layer.options, style[also.includes(layer) ? theirs : mine]()));
  set("stretches", ladders, "stretches", "ladder");
  set("windows", [], "windows", "windows");
  if (data.measures) set("measures", siteDashes, "measures", "dashes");
}
function finish() {
  drawnThin = thin();
  for (const name of order) fill(name);
  roads_layer.on("click", (event) => {
    const layer = event.propagatedFrom;
    if (layer && layer.feature) open("roads", layer.feature, layer);
  });
  windows_layer.getLayers().forEach((layer, i) => {
    addRow(layer.feature, layer, page.rows[i]);
    addChip(layer.feature, layer);
  });
  stretches_layer.getLayers().forEach((layer, i) => {
    addStretch(layer.feature, layer, page.stretches[i]);
    addLetter(layer.feature, layer);
  });
  if (data.measures) {
    measures_layer.getLayers().forEach((layer, i) => addSite(layer.feature, layer, page.sites[i]));
  }
  startFilters();
  startSearch();
  inOrder();
  resize();
  declutter();
  firstBounds = map.getBounds();
  map.on("zoomend", resize);
  map.on("zoomend moveend resize", declutter);
  oneKind();
  switchesByKeyboard();
  legend(shownKind());
  map.on("overlayadd overlayremove", (event) => {
    if (event.layer !== tile_layer) inOrder();
    else at("hint").hidden = event.type !== "overlayadd" || location.protocol !== "file:";
  });
  at("legend").addEventListener("toggle", declutter);
  at("sheet_close").addEventListener("click", close);
  document.addEventListener("keydown", (event) => {
    if (event.key === "Escape" && !at("sheet").hidden) close();
  });
  at("skip_list").addEventListener("click", (event) => {
    event.preventDefault();
    at("panel").open = true;
    (at("list").querySelector("button") || at("list")).focus();
  });
  at("skip_map").addEventListener("click", (event) => {
    event.preventDefault();
    map.getContainer().focus();
  });
  forPrint();
}
/* Ticking one kind of evidence unticks the others before the control reads its boxes. */
function oneKind() {
  const kind = new Map(smooth.map((name) => [L.stamp(layerOf(name)), name]));
  const control = layer_switches.getContainer();
  control.addEventListener("click", (event) => {
    const mine = event.target.checked && kind.get(event.target.layerId);
    if (!mine) return;
    for (const box of control.querySelectorAll("input")) {
      if (box !== event.target && kind.has(box.layerId)) box.checked = false;
    }
  }, true);
  map.on("overlayadd overlayremove", () => legend(shownKind()));
}
/* The folded switch vanishes when it unfolds; the keyboard goes on to its boxes, and Escape folds it. */
function switchesByKeyboard() {
  const control = layer_switches.getContainer();
  const toggle = control.querySelector(".leaflet-control-layers-toggle");
  const into = () => setTimeout(() => control.querySelector("input").focus(), 0);
  toggle.addEventListener("click", into);
  toggle.addEventListener("keydown", (event) => { if (event.key === "Enter") into(); });
  control.addEventListener("keydown", (event) => {
    if (event.key !== "Escape" || !layer_switches.options.collapsed) return;
    event.stopPropagation();
    layer_switches.collapse();
    toggle.focus();
  });
}
const shownKind = () => smooth.find((name) => map.hasLayer(layerOf(name))) || "";
