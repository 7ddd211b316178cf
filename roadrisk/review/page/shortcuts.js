/* Which key does what, in the order in which the help lists them. */
import { at } from "./build.js";

const ARROWS = ["ArrowUp", "ArrowDown", "ArrowLeft", "ArrowRight"];

export function shortcuts(acts) {
  const free = acts.reviewing;
  const calm = () => !acts.asking() && !acts.mover.on;
  const keys = [
    { key: "a", words: "Accept", when: free, does: () => acts.begin("accept") },
    { key: "b", words: "Ask back", when: free, does: () => acts.begin("ask back") },
    { key: "n", words: "Not sure", when: free, does: () => acts.begin("not sure") },
    { key: "r", words: "Reject", when: free, does: () => acts.begin("reject") },
    { key: "1", shown: "1 … 6", words: "Choose that reason", when: acts.asking, does: acts.chosen },
    ...["2", "3", "4", "5", "6"].map((key) => ({ key, when: acts.asking, does: acts.chosen })),
    { key: "j", words: "Next report", when: free, does: () => acts.go("after") },
    { key: "k", words: "Report before", when: free, does: () => acts.go("before") },
    { key: "u", words: "Take back my last decision; again for the one before", when: calm, does: () => acts.undo() },
    { key: "h", words: "My latest decisions, to take back any of them", when: calm, does: acts.showLatest },
    { key: "p", words: "Use the proposed position", when: free, does: acts.useProposed },
    { key: "m", words: "Move the place: arrow keys 5 m, with Shift 50 m; Enter keeps it", when: free, does: acts.startMoving },
    { key: "g", words: "Go to “The same animal?”; Tab leads to its buttons", when: free, does: () => at("same_title").focus() },
    { key: "t", words: "Show or hide tag matches and hot stretches", when: free, does: acts.toggleHidden },
    { key: "l", words: "List of all reports", when: calm, does: acts.openList },
    { key: "/", words: "Search the list", when: calm, does: acts.searchList },
    { key: "?", words: "This help", does: () => at("help").showModal() },
    { key: "Escape", shown: "Esc", words: "Cancel, or close what is open", when: acts.canCancel, does: acts.cancel },
    { key: "Enter", when: (event) => acts.mover.on && event.target.id === "map", does: () => acts.mover.keep() },
  ];
  for (const key of ARROWS) {
    keys.push({
      key, repeats: true, does: (event) => acts.mover.nudge(event),
      when: (event) => acts.mover.on && !event.target.closest("input"),
    });
  }
  return keys;
}
