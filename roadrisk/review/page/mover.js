/* Moving a report's place: by mouse, by arrow keys, or by writing coordinates. */
import { at, say, trouble } from "./build.js";
import { apart } from "./map.js";

/* Degrees with a point or a comma, as a person writes them; NaN for anything else. */
export function degrees(text) {
  if (!/^\s*[-+\u2212]?\d{1,3}([.,]\d+)?\s*°?\s*$/.test(text)) return NaN;
  return Number(text.replace("\u2212", "-").replace(",", ".").replace("°", ""));
}

export class Mover {
  constructor(map, page) {
    this.map = map;
    this.page = page;
    at("mover").addEventListener("submit", (event) => {
      event.preventDefault();
      this.keep();
    });
    for (const id of ["latitude", "longitude"]) at(id).addEventListener("change", () => this.typed());
    at("mover_back").addEventListener("click", () => {
      page.savePlace({ latitude: null, longitude: null }, "Kept: back to where it was reported.");
    });
  }

  get on() {
    return Boolean(this.map.moving);
  }

  start() {
    const view = this.page.view();
    this.map.startMoving();
    at("mover_back").hidden = !view.place.moved || !view.place.reported;
    say("Moving the place.");
    at("map").focus({ preventScroll: true });
  }

  stop() {
    this.map.stopMoving();
  }

  /* The mark is somewhere else: shows where, in both ways of saying it. */
  movedTo(place) {
    const { reported, here } = this.page.view().place;
    at("latitude").value = place.lat.toFixed(6);
    at("longitude").value = place.lng.toFixed(6);
    const from = reported || here;
    const far = from ? apart(from, place, this.page.units()) : "";
    at("mover_far").textContent = far ? `${far} of where it was reported` : "";
  }

  typed() {
    const lat = degrees(at("latitude").value), lng = degrees(at("longitude").value);
    const good = Math.abs(lat) <= 90 && Math.abs(lng) <= 180;
    if (good) this.map.moveTo([lat, lng]);
    return good;
  }

  keep() {
    if (!this.typed()) {
      trouble("That is no place: write degrees, as in 52.21371 and 19.43170.");
      at("latitude").focus();
      return;
    }
    /* What is kept is what the boxes show. */
    const [latitude, longitude] = ["latitude", "longitude"].map((id) => degrees(at(id).value));
    this.page.savePlace({ latitude, longitude }, "Kept: the new place.");
  }

  nudge(event) {
    this.map.nudge(event.key, event.shiftKey);
  }
}
