/* On paper everything is unfolded and the map takes the sheet's width. */
function forPrint() {
  const folds = [at("panel"), at("legend")];
  let before = null;
  window.addEventListener("beforeprint", () => {
    before = { open: folds.map((f) => f.open), bounds: map.getBounds() };
    folds.forEach((f) => { f.open = true; });
    document.body.classList.add("printing");
    map.invalidateSize({ animate: false, pan: false });
    const all = L.latLngBounds(page.bounds);
    /* The first view leaves room for a legend that stands elsewhere on paper. */
    const asFirst = before.bounds.equals(firstBounds, 1e-9) ? L.latLngBounds(page.focus) : before.bounds;
    map.fitBounds(before.bounds.contains(all) ? all : asFirst, { animate: false });
    /* The key names what is on the paper: points are not drawn from afar. */
    const shows = (name) => Boolean(data[name]) && !(name === "signs" ? far() : faint()) && map.hasLayer(layerOf(name));
    const drawn = points.map((name) => [name, shows(name)]);
    for (const [name, on] of [...drawn, ["closer", drawn.some((pair) => pair[1])]]) {
      if (at(`key_${name}`)) at(`key_${name}`).hidden = !on;
    }
    declutter();
  });
  window.addEventListener("afterprint", () => {
    document.body.classList.remove("printing");
    for (const name of [...points, "closer"]) if (at(`key_${name}`)) at(`key_${name}`).hidden = false;
    folds.forEach((f, i) => { f.open = before.open[i]; });
    map.invalidateSize({ animate: false, pan: false });
    map.fitBounds(before.bounds, { animate: false });
  });
}
