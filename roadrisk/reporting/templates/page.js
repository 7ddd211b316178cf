/* Shows the map, the list and the sheets. Text from data is only ever set as textContent. */
const view = (() => {
  "use strict";
  const read = (id) => JSON.parse(document.getElementById(id).textContent);
  const page = read("page_data");
  const data = read("layer_data");
  const at = (id) => document.getElementById(id);
  const small = () => window.matchMedia("screen and (max-width: 700px)").matches;
  /* Where the open layer control would cover much of the map. */
  const tight = () => window.innerWidth < 1500;
  const still = () => window.matchMedia("(prefers-reduced-motion: reduce)").matches;
  let map = null;
  let chosen = null;
  const buttons = new Map();
  /* Of stretches and of proposed sites. */
  const placeButtons = new Map();
  const chips = [];
  const letters = [];
  const ladders = [];
  const siteTags = [];
  const siteDashes = [];

  function put(parent, tag, text, kind) {
    const element = document.createElement(tag);
    if (text) element.textContent = text;
    if (kind) element.className = kind;
    parent.appendChild(element);
    return element;
  }

  /* Points: the shape says what it is, so that colour is never needed. From afar they would
     hide the roads' colours and are not drawn. */
  const far = () => map.getZoom() < 15;
  const Mark = L.CircleMarker.extend({
    _updatePath() {
      const renderer = this._renderer;
      if (far() || !renderer._drawing || this._empty()) return;
      const pen = renderer._ctx, p = this._point, r = this._radius;
      pen.beginPath();
      if (this.options.shape === "alive") {
        pen.arc(p.x, p.y, r, 0, 2 * Math.PI);
      } else if (this.options.shape === "dead") {
        pen.moveTo(p.x - r, p.y - r); pen.lineTo(p.x + r, p.y + r);
        pen.moveTo(p.x + r, p.y - r); pen.lineTo(p.x - r, p.y + r);
      } else if (this.options.shape === "other") {
        pen.rect(p.x - r, p.y - r, 2 * r, 2 * r);
      } else if (this.options.shape === "sign") {
        pen.moveTo(p.x, p.y - r); pen.lineTo(p.x + r, p.y);
        pen.lineTo(p.x, p.y + r); pen.lineTo(p.x - r, p.y); pen.closePath();
      } else {
        pen.moveTo(p.x, p.y - r); pen.lineTo(p.x + r, p.y + r * 0.8);
        pen.lineTo(p.x - r, p.y + r * 0.8); pen.closePath();
      }
      renderer._fillStroke(pen, this);
    },
    _containsPoint(place) {
      return !far() && L.CircleMarker.prototype._containsPoint.call(this, place);
    },
  });

  const report = { a: "alive", d: "dead", n: "other" };
  const point = {
    reports: (feature, place) => {
      const shape = report[feature.properties.a];
      return new Mark(place, {
        shape, radius: 4.5, color: page.ink, weight: shape === "dead" ? 2 : 1.3, fillColor: "#fff", fillOpacity: 1,
        fill: shape !== "dead",
      });
    },
    crossings: (feature, place) => new Mark(place, {
      shape: "crossing", radius: 4.5, color: "#fff", weight: 1, fillColor: page.ink, fillOpacity: 1,
    }),
    signs: (feature, place) => new Mark(place, {
      shape: "sign", radius: 8, color: "#fff", weight: 1.5, fillColor: page.accent, fillOpacity: 1,
    }),
  };
  const points = Object.keys(point);
  const dashed = (feature) => (feature.properties.o ? "7 5" : null);
  /* From afar lines get thinner, so that short hot stretches keep their shape. */
  const outline = 18;
  /* What a thin line on the plain road must keep to be seen. */
  const least = 2.4;
  const thin = () => (map.getZoom() < 14 ? 0.55 : far() ? 0.75 : 1);
  const style = {
    roads: (f) => ({
      color: f.properties.u ? page.unwatched : page.road, opacity: 1,
      dashArray: dashed(f) || (f.properties.u ? page.unwatched_dash : null), lineCap: f.properties.u ? "round" : "butt",
      weight: f.properties.u ? page.unwatched_width : page.road_width,
    }),
    stretches: () => ({ color: page.accent, weight: outline * thin(), opacity: 1, lineCap: "butt" }),
    /* Rungs across the casing: what a grey print shows of it. */
    ladder: () => ({ color: page.ink, weight: outline * thin(), opacity: 1, lineCap: "butt", dashArray: "2 4" }),
    pieces: (f) => ({
      color: page.colours[f.properties.c], weight: page.widths[f.properties.c] * thin(),
      opacity: 1, lineCap: "butt", dashArray: dashed(f),
    }),
    deaths: (f) => {
      const drawn = style.pieces(f);
      if (!f.properties.u) return drawn;
      const weight = Math.max(least, drawn.weight * page.judged_width);
      return Object.assign(drawn, { weight, dashArray: drawn.dashArray || page.judged_dash });
    },
    windows: () => ({ color: "#fff", weight: 2, opacity: far() ? 0 : 0.95, lineCap: "butt" }),
    /* Dashes with a white rim, so that the road's own colour shows between them. */
    measures: () => ({ color: "#fff", weight: 8 * thin(), opacity: 1, lineCap: "butt", dashArray: "14 8" }),
    dashes: () => ({ color: page.accent, weight: 5 * thin(), opacity: 1, lineCap: "butt", dashArray: "0 1.5 11 9.5" }),
    reports: () => ({}),
    crossings: () => ({}),
    signs: () => ({}),
  };
  /* One kind of colour at a time: they would lie on top of each other, and the legend explains
     the one that is shown. */
  const smooth = ["deaths", "pieces", "tracked", "alive", "dead"].filter((name) => data[name]);
  for (const name of smooth) style[name] = style[name] || style.pieces;
  const order = ["roads", "stretches", ...smooth, "windows", "measures", "crossings", "reports", "signs"]
    .filter((name) => data[name]);

  /* Sheets */
  function lines(kind, values) {
    return page.sheets[kind].map((label, i) => [label, values[i]]).filter((pair) => pair[1]);
  }
  function opens(kind) {
    return (feature, layer) => layer.on("click", () => open(kind, feature, layer));
  }
  function open(kind, feature, layer) {
    const mine = feature.properties;
    let title = mine.t;
    let shown = lines(kind, mine.v);
    if (smooth.includes(kind)) {
      const road = (data.roads.features[mine.s] || { properties: { t: "", v: [] } }).properties;
      title = road.t;
      shown[0][1] += ` ${page.rates[kind]}`;
      shown = shown.concat(road.v.length ? lines("roads", road.v) : []);
    }
    at("sheet_title").textContent = title;
    const list = at("sheet_lines");
    list.replaceChildren();
    for (const [label, value] of shown) {
      put(list, "dt", label);
      const said = put(list, "dd", value);
      if (kind === "stretches" && label === page.years) chart(list, mine, said);
    }
    at("sheet").hidden = false;
    at("sheet").scrollTop = 0;
    map_box.classList.add("with_sheet");
    mark(kind === "windows" ? mine.r : null, layer, mine);
  }
  /* A picture can run nothing; its words stand in the line above it. */
  function chart(list, mine, said) {
    if (!mine.y) return;
    const box = put(list, "dd", "", "wide");
    const picture = put(box, "img");
    picture.alt = `${page.years}: ${said.textContent}`;
    picture.src = mine.y;
    page.chart.forEach((text) => put(box, "p", text));
  }
  function close() {
    at("sheet").hidden = true;
    map_box.classList.remove("with_sheet");
    mark(null, null, null);
  }
  /* Shows which row and which piece of road the sheet is about. */
  function mark(rank, layer, place) {
    const press = (b, on) => b.setAttribute("aria-pressed", on ? "true" : "false");
    buttons.forEach((b, r) => press(b, r === rank));
    placeButtons.forEach((b, mine) => press(b, mine === place));
    chips.forEach((c) => c.element.classList.toggle("chosen", c.rank === rank));
    if (chosen) chosen.remove();
    chosen = null;
    if (layer && layer.getLatLngs) {
      const parts = layer.getLatLngs();
      const line = Array.isArray(parts[0]) ? parts.flat() : parts;
      chosen = L.layerGroup([
        L.polyline(parts, { color: "#fff", weight: 6, interactive: false }),
        L.polyline(parts, { color: page.ink, weight: 3, interactive: false }),
        ...endBars(line),
      ]).addTo(map);
    } else if (layer && layer.getLatLng) {
      chosen = L.circleMarker(layer.getLatLng(), {
        radius: 10, color: page.accent, weight: 2.5, fill: false, interactive: false,
      }).addTo(map);
    }
    declutter();
  }

  /* The ranked list and its numbers on the map */
  function choose(kind, feature, layer) {
    if (small()) at("panel").open = false;
    open(kind, feature, layer);
    map.invalidateSize({ animate: false });
    const sheet = at("sheet").getBoundingClientRect();
    const edge = small() ? [30, sheet.height + 30] : [sheet.width + 40, 60];
    map.fitBounds(layer.getBounds(), {
      maxZoom: 16, paddingTopLeft: [beside(), 60], paddingBottomRight: edge, animate: !still(),
    });
  }
  /* Room that the open legend takes from the map. */
  const beside = () => (!small() && at("legend").open ? at("legend").offsetWidth + 40 : 40);
  function row(list, sign, kind, lines) {
    const button = put(put(at(list), "li"), "button");
    button.type = "button";
    button.setAttribute("aria-pressed", "false");
    put(button, "span", sign, kind);
    const words = put(button, "span", "", "words");
    for (const [text, look] of lines) put(words, "span", text, look);
    return button;
  }
  function addRow(feature, layer, said) {
    const mine = feature.properties;
    const lines = [[mine.n, "road"], [mine.v[0], "place"], [said[0], "value"]];
    for (const text of said.slice(1)) lines.push([text, "place"]);
    const button = row("list", String(mine.r), mine.s ? "rank stands_out" : "rank", lines);
    button.addEventListener("click", () => choose("windows", feature, layer));
    buttons.set(mine.r, button);
  }
  function addStretch(feature, layer, said) {
    const lines = said.map((text, i) => [text, i === 0 ? "road" : "place"]);
    const button = row("stretch_list", feature.properties.l, "tag", lines);
    button.addEventListener("click", () => choose("stretches", feature, layer));
    placeButtons.set(feature.properties, button);
  }
  const siteSign = (feature) => `S${feature.properties.n}`;
  function addSite(feature, layer, said) {
    const lines = said.map((text, i) => [text, ["road", "place", "value", "value"][i] || "place"]);
    const button = row("measure_list", siteSign(feature), "site", lines);
    button.addEventListener("click", () => choose("measures", feature, layer));
    placeButtons.set(feature.properties, button);
    const dashes = L.polyline(layer.getLatLngs(), Object.assign({ interactive: false }, style.dashes()));
    siteDashes.push(dashes);
    endBars(layer.getLatLngs().flat(), "site_end").forEach((bar) => measures_layer.addLayer(bar));
    measures_layer.addLayer(dashes);
    const element = document.createElement("span");
    element.className = "site";
    element.textContent = siteSign(feature);
    const icon = L.divIcon({ html: element, className: "chip_box", iconSize: [30, 22], iconAnchor: [37, 31] });
    const tag = L.marker(middle(longest(layer)), { icon, keyboard: false, zIndexOffset: 3000 });
    tag.on("click", () => open("measures", feature, layer));
    measures_layer.addLayer(tag);
    siteTags.push(tag);
  }
  const longest = (layer) => layer.getLatLngs().reduce((a, b) => (b.length > a.length ? b : a));
  function addChip(feature, layer) {
    const mine = feature.properties;
    const element = document.createElement("span");
    element.className = mine.s ? "chip stands_out" : "chip";
    element.textContent = String(mine.r);
    const icon = L.divIcon({ html: element, className: "chip_box", iconSize: [24, 24], iconAnchor: [-7, 31] });
    const chip = L.marker(middle(layer.getLatLngs()), { icon, keyboard: false, zIndexOffset: 1000 - mine.r });
    chip.on("click", () => open("windows", feature, layer));
    windows_layer.addLayer(chip);
    chips.push({ rank: mine.r, chip, element });
  }
  /* A stretch's rungs, and its letter in a square below it; ranks are discs above their place. */
  function addLetter(feature, layer) {
    const ladder = L.polyline(layer.getLatLngs(), Object.assign({ interactive: false }, style.ladder()));
    ladders.push(ladder);
    const element = document.createElement("span");
    element.className = "letter";
    element.textContent = feature.properties.l;
    const icon = L.divIcon({ html: element, className: "chip_box", iconSize: [24, 24], iconAnchor: [33, -9] });
    const parts = layer.getLatLngs();
    const mark = L.marker(middle(longest(layer)), { icon, keyboard: false, zIndexOffset: 2000 });
    mark.on("click", () => open("stretches", feature, layer));
    endBars(parts.flat()).forEach((bar) => stretches_layer.addLayer(bar));
    stretches_layer.addLayer(ladder);
    stretches_layer.addLayer(mark);
    letters.push(mark);
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
    const far = line.slice(1).map((p, i) => p.distanceTo(line[i]));
    let left = far.reduce((a, b) => a + b, 0) / 2;
    for (let i = 0; i < far.length; i += 1) {
      if (left <= far[i] && far[i] > 0) {
        const f = left / far[i];
        return [line[i].lat + f * (line[i + 1].lat - line[i].lat),
          line[i].lng + f * (line[i + 1].lng - line[i].lng)];
      }
      left -= far[i];
    }
    return line[0];
  }
  /* Numbers that would cover a better rank's number, and all after the tenth, wait until the
     map is closer. */
  function declutter() {
    /* A letter's square lies as far to the lower left of its place as a disc to the upper right. */
    const taken = letters.map((m) => map.latLngToLayerPoint(m.getLatLng()).subtract([40, -40]));
    /* A site's tag lies to the upper left of its place, a disc to the upper right. */
    taken.push(...siteTags.map((m) => map.latLngToLayerPoint(m.getLatLng()).subtract([41, 0])));
    const first = (c) => (c.element.classList.contains("chosen") ? 0 : c.rank);
    for (const c of [...chips].sort((a, b) => first(a) - first(b))) {
      const p = map.latLngToLayerPoint(c.chip.getLatLng());
      const shown = map.getZoom() >= 14.5 || first(c) <= 10;
      const free = shown && taken.every((q) => Math.abs(q.x - p.x) > 23 || Math.abs(q.y - p.y) > 23);
      c.element.hidden = !free;
      if (free) taken.push(p);
    }
  }

  let drawnThin = null;
  function resize() {
    if (thin() === drawnThin) return;
    drawnThin = thin();
    for (const name of smooth) window[`${name}_layer`].setStyle(style[name]);
    stretches_layer.eachLayer((layer) => layer.setStyle && layer.setStyle(style[ladders.includes(layer) ? "ladder" : "stretches"]()));
    windows_layer.eachLayer((layer) => layer.setStyle && layer.setStyle(style.windows()));
    if (data.measures) {
      measures_layer.eachLayer((layer) => layer.setStyle
        && layer.setStyle(style[siteDashes.includes(layer) ? "dashes" : "measures"]()));
    }
  }

  /* Legend */
  function swatch(parent, draw, text, width = 36) {
    const row = put(parent, "div", "", "key");
    const svg = document.createElementNS("http://www.w3.org/2000/svg", "svg");
    svg.setAttribute("viewBox", `${18 - width / 2} 0 ${width} 20`);
    svg.style.width = `${width}px`;
    svg.setAttribute("aria-hidden", "true");
    for (const [tag, attributes] of draw) {
      const shape = document.createElementNS("http://www.w3.org/2000/svg", tag);
      for (const key of Object.keys(attributes)) shape.setAttribute(key, attributes[key]);
      svg.appendChild(shape);
    }
    row.appendChild(svg);
    put(row, "span", text);
    return row;
  }
  const stroke = (color, width, more) => ["line", Object.assign({
    x1: 2, x2: 34, y1: 10, y2: 10, stroke: color, "stroke-width": width }, more)];
  /* Explains the kind of colour that is shown; "" for none. */
  function legend(kind) {
    const words = page.legend;
    const inside = at("legend_inside");
    inside.replaceChildren();
    if (kind) scale(inside, kind, words.scales[kind] || words.scales.pieces);
    else swatch(inside, [stroke(page.road, page.road_width)], words.bare);
    if (data.roads.features.some((f) => f.properties.u)) {
      swatch(inside, [stroke(page.unwatched, page.unwatched_width, {
        "stroke-dasharray": page.unwatched_dash, "stroke-linecap": "round" })], words.unwatched);
    }
    if (page.off_ground) {
      swatch(inside, [stroke(page.road, page.road_width, { "stroke-dasharray": "7 5" })], words.off);
    }
    if (words.stretch) {
      const square = ["rect", { x: 11, y: 3, width: 14, height: 14, fill: "#fff", stroke: page.ink, "stroke-width": 2 }];
      const a = ["path", { d: "M15 14 18 6 21 14 M16 11.5 H20", fill: "none", stroke: page.ink, "stroke-width": 1.6 }];
      swatch(inside, [stroke(page.accent, 18), stroke(page.ink, 18, { "stroke-dasharray": "2 4" }), square, a,
        ...[2, 34].map((x) => ["line", { x1: x, x2: x, y1: 0, y2: 20, stroke: page.ink, "stroke-width": 3 }])], words.stretch);
    }
    const disc = ["circle", { cx: 18, cy: 10, r: 9, fill: "#fff", stroke: page.ink, "stroke-width": 1.5 }];
    const one = ["path", { d: "M15.5 7.5 18.5 5.5 V14.5", fill: "none", stroke: page.ink, "stroke-width": 1.8 }];
    const any = (name) => Boolean(data[name]) && data[name].features.length > 0;
    if (any("windows")) swatch(inside, [disc, one], words.window);
    if (any("measures")) {
      swatch(inside, [stroke(page.accent, 5, { "stroke-dasharray": "12 8" })], words.measures);
    }
    const pen = { fill: "#fff", stroke: page.ink, "stroke-width": 1.4 };
    if (["reports", "crossings", "signs"].some(any)) put(inside, "p", words.closer, "legend_unit closer").id = "key_closer";
    if (any("reports")) {
      const row = put(inside, "div", "", "keys");
      row.id = "key_reports";
      put(row, "span", words.reports);
      swatch(row, [["circle", Object.assign({ cx: 18, cy: 10, r: 4.5 }, pen)]], words.alive, 12);
      swatch(row, [["path", Object.assign({}, pen, {
        d: "M13.5 5.5 22.5 14.5 M22.5 5.5 13.5 14.5", "stroke-width": 2.2 })]], words.dead, 12);
      swatch(row, [["rect", Object.assign({ x: 14, y: 6, width: 8, height: 8 }, pen)]], words.other, 12);
    }
    if (any("crossings")) {
      const row = swatch(inside, [["path", { d: "M18 5 23 14 13 14 Z", fill: page.ink }]], words.crossing);
      row.id = "key_crossings";
      put(row.lastChild, "span", ` ${words.switch}`, "on_screen");
    }
    if (any("signs")) {
      swatch(inside, [["path", { d: "M18 3 25 10 18 17 11 10 Z", fill: page.accent }]], words.signs).id = "key_signs";
    }
  }

  function scale(inside, kind, words) {
    put(inside, "p", page.legend.titles[kind], "legend_title").id = "legend_title";
    put(inside, "p", words.unit, "legend_unit");
    for (let i = words.classes.length - 1; i >= 0; i -= 1) {
      swatch(inside, [stroke(page.colours[i], page.widths[i])], words.classes[i]);
    }
    if (kind === "deaths" && data.deaths.features.some((f) => f.properties.u)) {
      const i = Math.floor(words.classes.length / 2);
      swatch(inside, [stroke(page.colours[i], page.widths[i] * page.judged_width, {
        "stroke-dasharray": page.judged_dash })], page.legend.judged);
    }
    swatch(inside, [stroke(page.road, page.road_width)], words.plain);
  }

  function texts() {
    at("deaths").textContent = page.deaths;
    at("deaths_link").textContent = page.all_deaths;
    at("deaths_link").href = page.all_deaths;
    if (page.measures) {
      at("measures").textContent = page.measures;
      at("measures_link").textContent = page.all_measures;
      at("measures_link").href = page.all_measures;
      at("measures_box").hidden = false;
    }
    at("study_name").textContent = page.name;
    at("species").textContent = page.species;
    at("period").textContent = page.period;
    at("verdict").textContent = page.verdict;
    at("power").textContent = page.power;
    at("basis").textContent = page.basis;
    at("tiles").textContent = page.tiles;
    at("hint").textContent = page.tiles;
    at("invented").textContent = page.invented;
    at("invented").hidden = !page.invented;
    at("confidential").textContent = page.confidential;
    const none = page.stretches.length === 0;
    at("no_stretch").textContent = page.no_stretch;
    at("no_stretch").hidden = !none;
    at("print_link").textContent = page.print;
    at("print_link").href = page.print;
    at("to_print").hidden = none;
    at("tracked_box").hidden = page.tracked.length === 0;
    for (const id of ["read", "tracked", "notes", "cautions"]) page[id].forEach((text) => put(at(id), "p", text));
    page.counts.forEach((text) => put(at("counts"), "li", text));
    at("list_empty").hidden = data.windows.features.length > 0;
  }

  function start() {
    texts();
    legend(smooth[0]);
    at("panel").open = !small();
    at("legend").open = !small();
    map = L.map("roads_map", {
      renderer: L.canvas({ tolerance: 4, padding: 0.4 }), zoomSnap: 0.25, maxZoom: 20,
      attributionControl: false,
    });
    showAll();
    new ResizeObserver(() => map.invalidateSize({ animate: false })).observe(map.getContainer());
    L.control.attribution({ prefix: false }).addTo(map).addAttribution(page.credit);
    L.control.scale({ metric: page.metric, imperial: !page.metric, position: "bottomright" }).addTo(map);
    map.getContainer().setAttribute("role", "region");
    map.getContainer().setAttribute("aria-label", "Map; arrow keys move it, plus and minus zoom");
    return map;
  }
  /* All roads, beside the open legend or above it, whichever shows them larger. */
  function showAll() {
    const above = small() || !at("legend").open ? 40 : at("legend").offsetHeight + 30;
    const room = [[[beside(), 30], [40, 40]], [[40, 30], [40, above]]];
    const zoom = room.map(([a, b]) => map.getBoundsZoom(page.bounds, false, L.point(a).add(b)));
    const [topLeft, bottomRight] = room[zoom[0] >= zoom[1] ? 0 : 1];
    map.fitBounds(page.bounds, {
      paddingTopLeft: topLeft, paddingBottomRight: bottomRight, animate: false,
    });
  }
  function inOrder() {
    for (const name of order) {
      if (map.hasLayer(window[`${name}_layer`])) window[`${name}_layer`].bringToFront();
      if (name === "stretches" && map.hasLayer(stretches_layer)) ladders.forEach((l) => l.bringToFront());
      if (name === "measures" && map.hasLayer(measures_layer)) siteDashes.forEach((l) => l.bringToFront());
    }
    if (chosen) chosen.eachLayer && chosen.eachLayer((l) => l.bringToFront && l.bringToFront());
  }
  function finish() {
    for (const name of order) window[`${name}_layer`].addData(data[name]);
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
    inOrder();
    declutter();
    resize();
    map.on("zoomend", () => { declutter(); resize(); });
    oneKind();
    legend(shownKind());
    map.on("overlayadd overlayremove", (event) => {
      if (event.layer !== tile_layer) inOrder();
      else at("hint").hidden = event.type !== "overlayadd" || location.protocol !== "file:";
    });
    at("sheet_close").addEventListener("click", close);
    document.addEventListener("keydown", (event) => {
      if (event.key === "Escape" && !at("sheet").hidden) close();
    });
    forPrint();
  }
  /* Ticking one kind of evidence unticks the others before the control reads its boxes. */
  function oneKind() {
    const kind = new Map(smooth.map((name) => [L.stamp(window[`${name}_layer`]), name]));
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
  const shownKind = () => smooth.find((name) => map.hasLayer(window[`${name}_layer`])) || "";
  /* On paper everything is unfolded and the map takes the sheet's width. */
  function forPrint() {
    const folds = [at("panel"), at("legend")];
    let before = null;
    window.addEventListener("beforeprint", () => {
      before = { open: folds.map((f) => f.open), bounds: map.getBounds() };
      folds.forEach((f) => { f.open = true; });
      document.body.classList.add("printing");
      map.invalidateSize({ animate: false, pan: false });
      const all = L.latLngBounds(page.bounds);
      map.fitBounds(before.bounds.contains(all) ? all : before.bounds, { animate: false });
      /* The key names what is on the paper: points are not drawn from afar. */
      const shows = (name) => Boolean(data[name]) && !far() && map.hasLayer(window[`${name}_layer`]);
      const drawn = points.map((name) => [name, shows(name)]);
      for (const [name, on] of [...drawn, ["closer", drawn.some((pair) => pair[1])]]) {
        if (at(`key_${name}`)) at(`key_${name}`).hidden = !on;
      }
    });
    window.addEventListener("afterprint", () => {
      document.body.classList.remove("printing");
      for (const name of [...points, "closer"]) if (at(`key_${name}`)) at(`key_${name}`).hidden = false;
      folds.forEach((f, i) => { f.open = before.open[i]; });
      map.invalidateSize({ animate: false, pan: false });
      map.fitBounds(before.bounds, { animate: false });
    });
  }
  const each = Object.fromEntries(order.map((kind) => [kind, opens(kind)]));
  return { tight, start, finish, style, each, point };
})();
