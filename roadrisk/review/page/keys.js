/* Single keys, and the help that lists them. They never fire while somebody writes in a box. */
import { at, put } from "./build.js";

const STORE = "single-keys";

export class Keys {
  constructor(list) {
    this.list = list;
    at("keys_on").checked = sessionStorage.getItem(STORE) !== "off";
    at("keys_on").addEventListener("change", () => {
      sessionStorage.setItem(STORE, at("keys_on").checked ? "on" : "off");
      this.hints();
    });
    document.addEventListener("keydown", (event) => this.pressed(event));
    for (const one of list.filter((k) => k.words)) {
      const term = put(at("help_keys"), "dt");
      put(term, "kbd", one.shown || one.key.toUpperCase());
      put(at("help_keys"), "dd", one.words);
    }
    this.hints();
  }

  hints() {
    document.body.classList.toggle("no_keys", !at("keys_on").checked);
  }

  pressed(event) {
    if (event.ctrlKey || event.altKey || event.metaKey || event.isComposing || event.defaultPrevented) return;
    const single = event.key.length === 1;
    if (single && (writing(event.target) || !at("keys_on").checked)) return;
    const open = document.querySelector("dialog[open]") !== null;
    for (const one of this.list) {
      if (one.key !== (single ? event.key.toLowerCase() : event.key)) continue;
      if (open || (one.when && !one.when(event))) continue;
      /* Also where the key is held down: a letter must not land in the box that it focuses. */
      event.preventDefault();
      /* A key that is held down must not decide on one report after the other. */
      if (event.repeat && !one.repeats) return;
      one.does(event);
      return;
    }
  }
}

export function writing(element) {
  /* For a moment after a dialog is closed its box still has the focus. */
  if (element.closest("dialog:not([open])")) return false;
  if (element.isContentEditable || element.tagName === "TEXTAREA" || element.tagName === "SELECT") return true;
  const plain = ["button", "checkbox", "radio", "submit"];
  return element.tagName === "INPUT" && !plain.includes(element.type);
}
