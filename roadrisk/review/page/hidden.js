/* What sways a decision, tag matches and hot stretches: only on request, and gone when off. */
import { at } from "./build.js";
import { get, post } from "./ask.js";

const AGAIN_MS = 1500;

export class Hidden {
  constructor(map, reopen) {
    this.map = map;
    this.reopen = reopen;
    this.clock = null;
    at("show_hidden").checked = false;
    at("show_hidden").addEventListener("change", () => this.changed());
  }

  get on() {
    return at("show_hidden").checked;
  }

  toggle() {
    at("show_hidden").checked = !this.on;
    this.changed();
  }

  async changed() {
    clearTimeout(this.clock);
    at("hot_words").textContent = "";
    at("hot_words").hidden = !this.on;
    if (!this.on) this.map.showHot(null);
    await this.reopen(this.on ? "Tag matches are shown." : "Tag matches and hot stretches are hidden.");
    if (this.on) await this.hot(() => post("/api/stretches", {}));
  }

  async hot(ask) {
    let told;
    try {
      told = await ask();
    } catch (error) {
      told = { words: error.message };
    }
    if (!this.on) return;
    at("hot_words").textContent = this.words(told);
    if (told.state === "ready") this.map.showHot(told.lines);
    if (told.state === "computing") {
      this.clock = setTimeout(() => this.hot(() => get("/api/stretches")), AGAIN_MS);
    }
  }

  words(told) {
    if (told.state === "computing") {
      return "Hot stretches are being computed; this can take minutes. You can go on meanwhile.";
    }
    if (told.state !== "ready") return told.words || "";
    const as_of = "as of the decisions kept when this was computed";
    if (!told.count) return `No stretch stands out, ${as_of}.`;
    const count = told.count === 1 ? "1 stretch stands out" : `${told.count} stretches stand out`;
    return `${count} (the broad yellow lines on the map), ${as_of}.`;
  }
}
