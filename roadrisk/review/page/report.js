/* Shows one report in words. */
import { at, button, data, empty, put } from "./build.js";

export function showReport(view, does) {
  at("off_queue").hidden = view.queue !== null;
  at("to_queue").hidden = !does.canReturn;
  showState(view);
  empty("title");
  data(at("title"), view.title);
  const facts = empty("facts");
  for (const [label, value] of view.facts) {
    put(facts, "dt", label);
    data(put(facts, "dd"), value);
  }
  at("remark").hidden = !view.remark;
  empty("remark");
  if (view.remark) data(at("remark"), view.remark);
  showPhotos(view.photos);
  showDoubts(view);
  showSame(view, does);
  const tags = empty("tags");
  for (const text of view.tags || []) data(put(tags, "li"), text);
  if (view.tags && !view.tags.length) put(tags, "li", "No tag was read in this report.");
  at("left").scrollTop = 0;
}

function showState(view) {
  const line = empty("state");
  put(line, "span", view.state_words, `chip ${view.state.replace(" ", "_")}`);
  if (view.decided) {
    put(line, "span", " ");
    data(line, view.decided, "small");
  }
}

function showPhotos(photos) {
  const box = empty("photos");
  for (const photo of photos) {
    const figure = put(box, "figure");
    if (photo.src) {
      const link = put(figure, "a");
      link.href = photo.src;
      link.target = "_blank";
      link.rel = "noopener noreferrer";
      const picture = put(link, "img");
      picture.alt = `Photo sent with the report, opens in its own tab: ${photo.name}`;
      picture.src = photo.src;
    }
    const caption = put(figure, "figcaption", photo.src ? "Photo: " : "Photo, not in the study folder: ");
    data(caption, photo.name);
  }
}

function showDoubts(view) {
  const list = empty("doubts");
  if (view.cannot_count) put(list, "li", view.cannot_count, "cannot");
  for (const text of view.doubts) data(put(list, "li"), text);
  if (!view.doubts.length && !view.cannot_count) put(list, "li", "Nothing that the checks look for.", "none");
  at("doubt_box").classList.toggle("some", view.doubts.length > 0 || view.cannot_count !== "");
  const proposed = view.proposed;
  at("proposed").hidden = !proposed;
  if (!proposed) return;
  const [lat, lon] = proposed.place;
  at("proposed_words").textContent = `Proposed position: ${lat}, ${lon}`;
  if (proposed.words) {
    put(at("proposed_words"), "span", ", ");
    data(at("proposed_words"), proposed.words);
  }
}

function showSame(view, does) {
  at("same_none").hidden = view.linked.length > 0;
  const linked = empty("linked");
  view.linked.forEach((other, i) => pair(linked, other, does, i));
  const near = empty("near");
  at("near_box").hidden = view.near.length === 0;
  view.near.forEach((other, i) => pair(near, other, does, i));
}

function pair(list, other, does, number) {
  const line = put(list, "li", "", other.same ? "same" : "");
  const words = put(line, "div", "", "pair_words");
  const look = button(words, "", "link", () => does.look(other.row));
  look.id = `${list.id}_${number}`;
  data(look, other.title);
  const more = put(words, "p", "", "small");
  data(more, [other.gap, other.state_words].filter(Boolean).join("; "));
  if (other.words) {
    const chance = put(words, "p", "The same animal? ", "chance");
    data(chance, other.words);
  }
  const choice = put(line, "div", "", "pair_choice");
  choice.setAttribute("role", "group");
  choice.setAttribute("aria-labelledby", look.id);
  for (const [same, text] of [[true, "Same animal"], [false, "Not the same"]]) {
    const mine = button(choice, text, "quiet", () => does.pair(other.row, same));
    /* Pressed is what counts now, whoever said it. */
    mine.setAttribute("aria-pressed", String(other.same === same));
    mine.classList.toggle("by_hand", other.by_hand && other.same === same);
  }
}
