/* What all parts of the page use. Text from data is only ever set as textContent. */
const read = (id) => JSON.parse(document.getElementById(id).textContent);
const page = read("page_data");
const data = read("layer_data");
const at = (id) => document.getElementById(id);
const small = () => window.matchMedia("screen and (max-width: 700px)").matches;
/* Where the open layer control would cover much of the map. */
const tight = () => window.innerWidth < 1500;
const still = () => window.matchMedia("(prefers-reduced-motion: reduce)").matches;
const any = (name) => Boolean(data[name]) && data[name].features.length > 0;
const layerOf = (name) => window[`${name}_layer`];
let map = null;

function put(parent, tag, text, kind) {
  const element = document.createElement(tag);
  if (text) element.textContent = text;
  if (kind) element.className = kind;
  parent.appendChild(element);
  return element;
}

function shape(parent, tag, attributes, text) {
  const element = document.createElementNS("http://www.w3.org/2000/svg", tag);
  for (const key of Object.keys(attributes)) element.setAttribute(key, attributes[key]);
  if (text) element.textContent = text;
  parent.appendChild(element);
  return element;
}

function choice(parent, text, act) {
  const button = put(parent, "button", text);
  button.type = "button";
  button.addEventListener("click", act);
  return button;
}
