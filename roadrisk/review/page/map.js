/* The map: the report, what lies around it, and moving it. No picture and no map is fetched. */
import { at, still } from "./build.js";
import { get } from "./ask.js";

const INK = "#1c1c1a", ROAD = "#8d897f", ACCENT = "#b93a04", SAME = "#0b57b0", HOT = "#f2a900";
const ZOOM = 17, NUDGE_M = 5, MOST_NAMES = 10;

/* Shapes say what a mark is, so that colour is never needed. */
const Mark = L.CircleMarker.extend({
  _updatePath() {
    const renderer = this._renderer;
    if (!renderer._drawing || this._empty()) return;
    const pen = renderer._ctx, p = this._point, r = this._radius, shape = this.options.shape;
    pen.beginPath();
    if (shape === "alive") {
      pen.arc(p.x, p.y, r, 0, 2 * Math.PI);
    } else if (shape === "dead") {
      pen.moveTo(p.x - r, p.y - r); pen.lineTo(p.x + r, p.y + r);
      pen.moveTo(p.x + r, p.y - r); pen.lineTo(p.x - r, p.y + r);
    } else if (shape === "proposed") {
      pen.moveTo(p.x, p.y - r); pen.lineTo(p.x + r, p.y); pen.lineTo(p.x, p.y + r);
      pen.lineTo(p.x - r, p.y); pen.closePath();
    } else {
      pen.rect(p.x - r, p.y - r, 2 * r, 2 * r);
    }
    renderer._fillStroke(pen, this);
  },
});

export class ReportMap {
  constructor(does) {
    this.does = does;
    this.view = null;
    this.moving = null;
    this.asked = 0;
    this.hotLines = null;
    this.map = L.map("map", {
      preferCanvas: true, attributionControl: false, zoomAnimation: !still(), fadeAnimation: false,
      markerZoomAnimation: !still(), maxZoom: 20, minZoom: 3, zoomControl: false, keyboardPanDelta: 60,
    }).setView([0, 0], 3);
    L.control.zoom({ position: "topright" }).addTo(this.map);
    L.control.scale({ imperial: does.units() === "us", metric: does.units() !== "us" }).addTo(this.map);
    /* From below: roads, their names, and what is reported. */
    for (const [name, level] of [["roads", 340], ["names", 350]]) {
      this.map.createPane(name).style.zIndex = String(level);
    }
    this.below = L.canvas({ pane: "roads" });
    this.layers = {};
    for (const name of ["roads", "names", "hot", "others", "mine"]) {
      this.layers[name] = L.layerGroup().addTo(this.map);
    }
    this.map.on("moveend", () => this.around());
    this.map.on("click", (event) => {
      if (this.moving) this.moveTo(event.latlng);
    });
    new ResizeObserver(() => this.map.invalidateSize({ pan: false, animate: false })).observe(at("map"));
  }

  show(view) {
    this.view = view;
    this.moving = null;
    this.map.keyboard.enable();
    /* It may have been out of sight, behind the list, when it was last measured. */
    this.map.invalidateSize({ pan: false, animate: false });
    const { here, reported } = view.place;
    const proposed = view.proposed && view.proposed.place;
    at("no_place").hidden = here !== null;
    this.drawMine();
    const anchor = here || proposed || reported;
    if (anchor) {
      const box = L.latLngBounds([anchor]);
      if (here && proposed && distance(here, proposed) < 3000) box.extend(proposed);
      const around = Math.max(90, Math.min(here ? view.place.within_m * 1.4 : 0, 2000));
      const grown = L.latLng(anchor).toBounds(2 * around).extend(box);
      this.map.fitBounds(grown, { maxZoom: ZOOM, animate: false, padding: [20, 20] });
    }
    this.around();
  }

  /* Asks for what lies in view; only the latest answer counts. */
  async around() {
    const { x, y } = this.map.getSize();
    if (!this.view || !x || !y) return;
    const mine = (this.asked += 1);
    const box = this.map.getBounds();
    const sides = {
      west: box.getWest(), south: box.getSouth(), east: box.getEast(), north: box.getNorth(),
    };
    let found;
    try {
      found = await get(`/api/around/${this.view.row}`, sides);
    } catch (error) {
      this.note("Roads and other reports can't be shown: no answer from roadrisk.");
      return;
    }
    if (mine !== this.asked) return;
    this.note(
      found.too_wide ? "Zoom in to see roads and other reports."
        : found.cut ? "Not all roads and reports are shown: zoom in to see them all."
          : found.roads.length ? "" : "No road lies in this view.",
    );
    this.drawRoads(found.roads);
    this.drawOthers(found.reports);
  }

  note(words) {
    at("map_note").hidden = !words;
    at("map_note").textContent = words;
  }

  drawRoads(roads) {
    this.layers.roads.clearLayers();
    for (const road of roads) {
      for (const line of road.line) {
        L.polyline(line, { color: ROAD, weight: 4, interactive: false, renderer: this.below }).addTo(this.layers.roads);
      }
    }
    this.drawNames(roads);
  }

  /* Each name once, at the part of its road nearest to the middle, where no other name stands. */
  drawNames(roads) {
    this.layers.names.clearLayers();
    const size = this.map.getSize();
    const inside = L.bounds([12, 24], [size.x - 90, size.y - 40]);
    const middle = size.divideBy(2);
    const taken = [];
    const spots = new Map();
    for (const road of roads.filter((r) => r.name)) {
      for (const spot of road.line.flatMap((line) => this.spots(line))) {
        const far = spot.distanceTo(middle);
        if (!inside.contains(spot) || far < 60) continue;
        spots.set(road.name, [...(spots.get(road.name) || []), [far, spot]]);
      }
    }
    for (const [name, found] of [...spots].slice(0, MOST_NAMES)) {
      const free = found.sort((a, b) => a[0] - b[0])
        .find(([, p]) => taken.every((q) => Math.abs(p.y - q.y) > 24 || Math.abs(p.x - q.x) > 170));
      if (!free) continue;
      taken.push(free[1]);
      this.label(this.map.containerPointToLatLng(free[1]), name, "road_name").addTo(this.layers.names);
    }
  }

  /* Places along a line every 40 pixels or so, on the screen. */
  spots(line) {
    const points = line.map((p) => this.map.latLngToContainerPoint(p));
    return points.slice(1).flatMap((to, i) => {
      const from = points[i];
      const parts = Math.min(50, Math.max(1, Math.ceil(from.distanceTo(to) / 40)));
      return Array.from({ length: parts }, (_, k) => from.add(to.subtract(from).multiplyBy(k / parts)));
    });
  }

  label(place, text, kind) {
    const element = document.createElement("span");
    element.textContent = text;
    element.dir = "auto";
    const icon = L.divIcon({ html: element, className: kind, iconSize: null });
    return L.marker(place, { icon, pane: "names", interactive: false, keyboard: false });
  }

  drawOthers(reports) {
    this.layers.others.clearLayers();
    for (const other of reports) {
      const shape = { alive: "alive", dead: "dead" }[other.shape] || "other";
      if (other.same) {
        L.circleMarker(other.place, { radius: 10, color: SAME, weight: 2.5, fill: false, interactive: false })
          .addTo(this.layers.others);
      }
      const mark = new Mark(other.place, {
        shape, radius: 5, color: INK, weight: 1.6, fill: shape !== "dead", fillColor: "#fff", fillOpacity: 1,
      });
      /* An element, not a string: Leaflet would read a string as markup. */
      const words = document.createElement("span");
      words.textContent = other.words;
      words.dir = "auto";
      mark.bindTooltip(words);
      mark.on("click", (event) => {
        if (this.moving) return;
        L.DomEvent.stopPropagation(event);
        this.does.look(other.row);
      });
      mark.addTo(this.layers.others);
    }
  }

  drawMine() {
    const group = this.layers.mine.clearLayers();
    const { here, reported, moved, within_m } = this.view.place;
    const now = this.moving || here;
    if (reported && now && (moved || this.moving) && distance(reported, now) > 0.5) {
      L.circleMarker(reported, { radius: 6, color: INK, weight: 1.5, dashArray: "2 3", fill: false, interactive: false }).addTo(group);
      L.polyline([reported, now], { color: INK, weight: 1.2, dashArray: "3 5", interactive: false }).addTo(group);
    }
    if (this.view.proposed) {
      const { place } = this.view.proposed;
      if (now) L.polyline([now, place], { color: ACCENT, weight: 1.5, dashArray: "6 5", interactive: false }).addTo(group);
      new Mark(place, { shape: "proposed", radius: 9, color: ACCENT, weight: 2.5, fillColor: "#fff", fillOpacity: 0.9, interactive: false }).addTo(group);
    }
    if (!now) return;
    L.circle(now, { radius: within_m, color: INK, weight: 1.3, dashArray: "5 5", fillColor: INK, fillOpacity: 0.05, interactive: false }).addTo(group);
    const element = document.createElement("span");
    const icon = L.divIcon({ html: element, className: this.moving ? "here moving" : "here", iconSize: [28, 28] });
    this.mark = L.marker(now, {
      icon, draggable: Boolean(this.moving), keyboard: false, autoPan: true, zIndexOffset: 1000,
      interactive: Boolean(this.moving),
    }).addTo(group);
    this.mark.on("drag", () => this.does.movedTo(this.mark.getLatLng()));
    this.mark.on("dragend", () => this.moveTo(this.mark.getLatLng()));
  }

  startMoving() {
    const { here, reported } = this.view.place;
    const proposed = this.view.proposed && this.view.proposed.place;
    this.moving = L.latLng(here || proposed || reported || this.map.getCenter());
    /* The arrow keys move the mark now, not the map. */
    this.map.keyboard.disable();
    this.drawMine();
    this.does.movedTo(this.moving);
  }

  stopMoving() {
    this.moving = null;
    this.map.keyboard.enable();
    this.drawMine();
  }

  moveTo(place) {
    this.moving = L.latLng(place).wrap();
    this.drawMine();
    if (!this.map.getBounds().pad(-0.1).contains(this.moving)) this.map.panTo(this.moving, { animate: !still() });
    this.does.movedTo(this.moving);
  }

  nudge(key, far) {
    const step = far ? 10 * NUDGE_M : NUDGE_M;
    const [east, north] = { ArrowUp: [0, 1], ArrowDown: [0, -1], ArrowLeft: [-1, 0], ArrowRight: [1, 0] }[key];
    const { lat, lng } = this.moving;
    /* A degree of latitude is about 111 km; the step need not be exact, the place is. */
    const dlat = (north * step) / 111195;
    const dlng = (east * step) / (111195 * Math.max(0.01, Math.cos((lat * Math.PI) / 180)));
    this.moveTo([Math.max(-90, Math.min(90, lat + dlat)), lng + dlng]);
  }

  showHot(lines) {
    this.hotLines = lines;
    this.layers.hot.clearLayers();
    for (const line of lines || []) {
      L.polyline(line, { color: HOT, weight: 14, opacity: 0.55, interactive: false, renderer: this.below }).addTo(this.layers.hot);
    }
  }
}

export function distance(a, b) {
  return L.latLng(a).distanceTo(L.latLng(b));
}

/* "35 m north-east" from one place to another. */
export function apart(a, b, units) {
  const metres = distance(a, b);
  const from = L.latLng(a), to = L.latLng(b);
  const north = to.lat - from.lat;
  const east = (to.lng - from.lng) * Math.cos((from.lat * Math.PI) / 180);
  const names = ["north", "north-east", "east", "south-east", "south", "south-west", "west", "north-west"];
  const way = names[Math.round(((Math.atan2(east, north) * 180) / Math.PI + 360) / 45) % 8];
  const long = units === "us" ? [metres / 0.3048, "ft", metres / 1609.344, "mi", 2640]
    : [metres, "m", metres / 1000, "km", 1000];
  const words = long[0] < long[4] ? `${Math.round(long[0])} ${long[1]}` : `${long[2].toFixed(2)} ${long[3]}`;
  return metres < 0.5 ? "" : `${words} ${way}`;
}
