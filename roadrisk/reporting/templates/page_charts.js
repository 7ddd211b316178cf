/* Small charts of a place by month, hour and year: each kind of count has its own scale, since
   reports follow who looks and not only what happens. */
const chartKinds = { windows: "window", stretches: "stretch", measures: "site" };
const CHART = { wide: 330, left: 4, right: 4, title: 14, bars: 26, gap: 9, axis: 14 };

function charts(kind, mine) {
  const box = at("sheet_charts");
  box.replaceChildren();
  const of = page.charts.places[chartKinds[kind]];
  const found = of && of[numberOf(kind, mine)];
  box.hidden = !found;
  if (!found) return;
  put(box, "h3", page.charts.title);
  for (const by of ["month", "hour", "year"]) if (found[by]) picture(box, by, found[by]);
  for (const text of page.charts.notes) put(box, "p", text);
}

function picture(box, by, series) {
  const names = page.charts.names[by];
  const rows = page.charts.rows
    .map(([label, unknown], i) => ({ label, values: series[i], unknown: unknown[by] || unknown.any }))
    .filter((row) => row.unknown || row.values.some((v) => v > 0));
  put(box, "h4", page.charts.by[by]);
  const svg = shape(box, "svg", { role: "img", "aria-label": `${page.charts.by[by]}: ${rows.map(said(by)).join(" ")}` });
  let y = 0;
  for (const row of rows) y = bars(svg, row, y, names);
  names.forEach((name, i) => {
    if (by === "hour" && i % 6) return;
    label(svg, middleOf(i, names.length), y + 10, by === "month" ? name.slice(0, 1) : name);
  });
  svg.setAttribute("viewBox", `0 0 ${CHART.wide} ${y + CHART.axis}`);
}
const middleOf = (i, n) => CHART.left + ((CHART.wide - CHART.left - CHART.right) * (i + 0.5)) / n;
function label(svg, x, y, text, anchor = "middle", bold = false) {
  shape(svg, "text", { x: x.toFixed(1), y: y.toFixed(1), "text-anchor": anchor, "font-size": 10.5,
    "font-weight": bold ? 600 : 400, fill: page.ink }, text);
}
const shortNumber = (v) => (v >= 10 ? String(Math.round(v)) : v >= 0.1 ? String(Math.round(v * 10) / 10)
  : String(Number(v.toPrecision(1))));

/* One kind of count: its name, its bars with their numbers, or why there are none. */
function bars(svg, row, top, names) {
  label(svg, CHART.left, top + 10, row.label, "start", true);
  const known = row.values.some((v) => v !== null);
  const most = Math.max(0, ...row.values.map((v) => v || 0));
  if (!known || most === 0) {
    label(svg, CHART.left, top + 24, known ? page.charts.none : row.unknown, "start");
    return top + 24 + CHART.gap;
  }
  const base = top + CHART.title + 9 + CHART.bars;
  const step = (CHART.wide - CHART.left - CHART.right) / names.length;
  const wide = Math.min(0.74 * step, 34);
  row.values.forEach((value, i) => {
    if (!value) return;
    const high = Math.max(1, (CHART.bars * value) / most);
    const x = middleOf(i, names.length);
    shape(svg, "rect", { x: (x - wide / 2).toFixed(1), y: (base - high).toFixed(1), width: wide.toFixed(1),
      height: high.toFixed(1), fill: page.ink });
    if (names.length <= 12 || value === most) label(svg, x, base - high - 2, shortNumber(value));
  });
  shape(svg, "path", { d: `M${CHART.left} ${base}H${CHART.wide - CHART.right}`, stroke: page.ink, fill: "none" });
  return base + CHART.gap;
}
/* The same in words: only what is not zero, and that the rest is. */
const said = (by) => (row) => {
  const names = page.charts.names[by];
  if (row.values.every((v) => v === null)) return `${row.label}: ${row.unknown}.`;
  const parts = row.values
    .map((v, i) => (v ? `${by === "hour" ? `${names[i]} h` : names[i]} ${shortNumber(v)}` : ""))
    .filter(Boolean);
  return `${row.label}: ${parts.length ? `${parts.join(", ")}; otherwise none` : page.charts.none}.`;
};
