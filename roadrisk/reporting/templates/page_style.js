/* Points: the shape says what it is, so that colour is never needed. From afar they would hide
   the roads' colours and are not drawn, unless a person asks for some of them by a filter. */
const far = () => map.getZoom() < 15;
const faint = () => far() && !filtered();
const Mark = L.CircleMarker.extend({
  _updatePath() {
    const renderer = this._renderer;
    if (faint() && this.options.shape !== "sign" || far() && this.options.shape === "sign") return;
    if (!renderer._drawing || this._empty()) return;
    const pen = renderer._ctx, p = this._point;
    const r = this.options.shape === "counts" && far() ? this._radius / 2 : this._radius;
    pen.beginPath();
    if (this.options.shape === "alive" || this.options.shape === "counts") {
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
    if (this.options.shape === "counts" && !far()) {
      pen.globalAlpha = 1;
      pen.fillStyle = page.ink;
      pen.font = "600 11px system-ui, sans-serif";
      pen.textAlign = "center";
      pen.textBaseline = "middle";
      pen.fillText(String(this.many), p.x, p.y + 0.5);
    }
  },
  _containsPoint(place) {
    const hidden = this.options.shape === "sign" ? far() : faint();
    return !hidden && L.CircleMarker.prototype._containsPoint.call(this, place);
  },
});

const report = { a: "alive", d: "dead", n: "other" };
/* Room for the number; the area grows with it. From afar smaller, and without it. */
const countRadius = (many, scale = 1) => scale * (6 + 2 * Math.sqrt(many));
/* Grey, so that a number of reports isn't taken for a rank, which is white with a black rim. */
const counted = { fill: "#dcd9d1", stroke: "#6f6c64" };
const point = {
  reports: (feature, place) => {
    const kind = report[feature.properties.a];
    return new Mark(place, {
      shape: kind, radius: 4.5, color: page.ink, weight: kind === "dead" ? 2 : 1.3, fillColor: "#fff",
      fillOpacity: 1, fill: kind !== "dead",
    });
  },
  counts: (feature, place) => {
    const mark = new Mark(place, {
      shape: "counts", radius: countRadius(feature.properties.n), color: counted.stroke, weight: 1,
      fillColor: counted.fill, fillOpacity: 0.92,
    });
    mark.many = feature.properties.n;
    return mark;
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
    smoothFactor: 0.7, color: f.properties.u ? page.unwatched : page.road, opacity: 1,
    dashArray: dashed(f) || (f.properties.u ? page.unwatched_dash : null), lineCap: f.properties.u ? "round" : "butt",
    weight: f.properties.u ? page.unwatched_width : page.road_width,
  }),
  stretches: () => ({ color: page.accent, weight: outline * thin(), opacity: 1, lineCap: "butt" }),
  /* Rungs across the casing: what a grey print shows of it. */
  ladder: () => ({ color: page.ink, weight: outline * thin(), opacity: 1, lineCap: "butt", dashArray: "2 4" }),
  pieces: (f) => ({
    smoothFactor: 0.7, color: page.colours[f.properties.c], weight: page.widths[f.properties.c] * thin(),
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
};
for (const name of points) style[name] = () => ({});
/* One kind of colour at a time: they would lie on top of each other, and the legend explains
   the one that is shown. */
const smooth = ["deaths", "pieces", "tracked", "alive", "dead"].filter((name) => data[name]);
for (const name of smooth) style[name] = style[name] || style.pieces;
const order = ["roads", "stretches", ...smooth, "windows", "measures", "crossings", "reports", "counts", "signs"]
  .filter((name) => data[name]);
