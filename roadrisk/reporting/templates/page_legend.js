/* The legend: it explains the kind of colour that is shown, and the signs that are there. */
function swatch(parent, draw, text, width = 36) {
  const row = put(parent, "div", "", "key");
  const svg = shape(row, "svg", { viewBox: `${18 - width / 2} 0 ${width} 20`, "aria-hidden": "true" });
  svg.style.width = `${width}px`;
  for (const [tag, attributes] of draw) shape(svg, tag, attributes);
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
  if (page.some_unwatched) {
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
  if (any("windows")) swatch(inside, [disc, one], words.window);
  if (any("measures")) {
    swatch(inside, [stroke(page.accent, 5, { "stroke-dasharray": "12 8" })], words.measures);
  }
  const pen = { fill: "#fff", stroke: page.ink, "stroke-width": 1.4 };
  if (points.some(any)) put(inside, "p", words.closer, "legend_unit closer").id = "key_closer";
  if (any("reports")) {
    const row = put(inside, "div", "", "keys");
    row.id = "key_reports";
    put(row, "span", words.reports);
    swatch(row, [["circle", Object.assign({ cx: 18, cy: 10, r: 4.5 }, pen)]], words.alive, 12);
    swatch(row, [["path", Object.assign({}, pen, {
      d: "M13.5 5.5 22.5 14.5 M22.5 5.5 13.5 14.5", "stroke-width": 2.2 })]], words.dead, 12);
    swatch(row, [["rect", Object.assign({ x: 14, y: 6, width: 8, height: 8 }, pen)]], words.other, 12);
  }
  if (any("counts")) {
    const row = put(inside, "div", "", "keys");
    row.id = "key_counts";
    [1, 5, 20].forEach((many) => {
      const r = countRadius(many, 0.62);
      swatch(row, [["circle", Object.assign({ cx: 18, cy: 10, r }, pen, counted)]], String(many), 2 * r + 2);
    });
    put(row, "span", words.counts);
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
  if (kind === "deaths" && page.some_judged) {
    const i = Math.floor(words.classes.length / 2);
    swatch(inside, [stroke(page.colours[i], page.widths[i] * page.judged_width, {
      "stroke-dasharray": page.judged_dash })], page.legend.judged);
  }
  swatch(inside, [stroke(page.road, page.road_width)], words.plain);
}
