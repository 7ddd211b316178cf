/* What the page says beside the map. */
function texts() {
  const said = ["deaths", "study_name", "species", "period", "verdict", "power", "basis", "tiles", "invented",
    "confidential", "no_stretch", "worst"];
  for (const id of said) at(id).textContent = id === "study_name" ? page.name : page[id];
  at("hint").textContent = page.tiles;
  for (const id of ["invented", "confidential", "worst"]) at(id).hidden = !page[id];
  for (const [id, address] of Object.entries(page.addresses)) {
    const link = at(`${id}_link`);
    link.href = address;
    if (!link.textContent) link.textContent = address;
  }
  if (page.measures) {
    at("measures").textContent = page.measures;
    at("measures_box").hidden = false;
  }
  const none = page.stretches.length === 0;
  at("no_stretch").hidden = !none;
  at("to_print").hidden = none;
  at("tracked_box").hidden = page.tracked.length === 0;
  for (const id of ["read", "tracked", "notes", "cautions"]) page[id].forEach((text) => put(at(id), "p", text));
  page.counts.forEach((text) => put(at("counts"), "li", text));
  at("list_empty").hidden = data.windows.features.length > 0;
}
