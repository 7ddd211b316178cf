/* Small helpers to build the page. Text from data is only ever set as textContent. */
export const at = (id) => document.getElementById(id);

/* Adds an element with text; text from a report goes in with `data`, which keeps its direction
   from turning the words around it. */
export function put(parent, tag, text, kind) {
  const element = document.createElement(tag);
  if (text !== undefined && text !== "") element.textContent = text;
  if (kind) element.className = kind;
  parent.appendChild(element);
  return element;
}

export function data(parent, text, kind) {
  const element = put(parent, "bdi", text, kind);
  element.dir = "auto";
  return element;
}

export function button(parent, text, kind, does) {
  const element = put(parent, "button", text, kind);
  element.type = "button";
  element.addEventListener("click", does);
  return element;
}

export function empty(id) {
  const element = at(id);
  element.replaceChildren();
  return element;
}

export const narrow = () => window.matchMedia("(max-width: 760px)").matches;
export const still = () => window.matchMedia("(prefers-reduced-motion: reduce)").matches;

/* Says what happened: seen in the dock, and read out. */
export function say(words) {
  at("said").textContent = "";
  at("trouble").textContent = "";
  at("said").textContent = words;
}

export function trouble(words) {
  at("said").textContent = "";
  at("trouble").textContent = words;
}
