/* Lines come packed (reporting/line_packing.py), since there may be very many of them. */
function unpack(text) {
  const out = [];
  let at_ = 0, lat = 0, lng = 0;
  const next = () => {
    let value = 0, shift = 0, letter = 0;
    do {
      letter = text.charCodeAt(at_) - 63;
      at_ += 1;
      value += (letter & 31) * 2 ** shift;
      shift += 5;
    } while (letter >= 32);
    return value % 2 ? -(value + 1) / 2 : value / 2;
  };
  while (at_ < text.length) {
    lat += next();
    lng += next();
    out.push(new L.LatLng(lat / 1e6, lng / 1e6));
  }
  return out;
}
/* What a line is drawn with; its width alone hangs on how close the map is. */
function lay(name) {
  const group = layerOf(name);
  for (const feature of data[name].features) {
    const layer = new L.Polyline(unpack(feature.g), style[name](feature));
    feature.type = "Feature";
    layer.feature = feature;
    each[name](feature, layer);
    group.addLayer(layer);
  }
}
const isPacked = (name) => data[name].features.length > 0 && data[name].features[0].g !== undefined;
const texted = (values) => (typeof values === "string" ? values.split("\n") : values);
/* A kind of colour that is off at first is laid out when it is switched on: most never are. */
function fill(name) {
  const group = layerOf(name);
  const add = () => (isPacked(name) ? lay(name) : group.addData(data[name]));
  if (!smooth.includes(name) || map.hasLayer(group)) add();
  else group.once("add", () => { add(); inOrder(); });
}
