/* Who is reviewing: asked once, changed at will. */
import { at, data, empty, put } from "./build.js";
import { post } from "./ask.js";

export class Who {
  constructor(name) {
    this.name = name;
    at("to_who").addEventListener("click", () => this.ask());
    at("who").addEventListener("cancel", (event) => {
      if (!this.name) event.preventDefault();
    });
    at("who_form").addEventListener("submit", (event) => {
      event.preventDefault();
      this.send();
    });
    this.show();
  }

  ask() {
    at("who_name").value = this.name;
    at("who_trouble").textContent = "";
    if (!at("who").open) at("who").showModal();
  }

  async send() {
    try {
      this.name = (await post("/api/reviewer", { name: at("who_name").value })).reviewer;
    } catch (error) {
      at("who_trouble").textContent = error.message;
      return;
    }
    this.show();
    at("who").close();
    at("title").focus({ preventScroll: true });
  }

  show() {
    const box = empty("to_who");
    put(box, "span", this.name ? "Reviewer: " : "Who reviews?", "label");
    if (this.name) data(box, this.name);
  }
}
