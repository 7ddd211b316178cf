/* All reports, page by page, with filter and search; the server does the searching. */
import { at, button, data, empty, put } from "./build.js";
import { get } from "./ask.js";

export class ReportList {
  constructor(info, does) {
    this.does = does;
    this.page = 0;
    this.asked = 0;
    for (const [value, words] of Object.entries(info.filters)) {
      const option = put(at("list_state"), "option", words);
      option.value = value;
    }
    at("list_state").value = "decided";
    at("list_state").addEventListener("change", () => this.load(0));
    at("list_search").addEventListener("input", () => {
      clearTimeout(this.clock);
      this.clock = setTimeout(() => this.load(0), 150);
    });
    at("list_form").addEventListener("submit", (event) => {
      event.preventDefault();
      this.load(0);
    });
    at("list_before").addEventListener("click", () => this.load(this.page - 1));
    at("list_after").addEventListener("click", () => this.load(this.page + 1));
    at("list_close").addEventListener("click", does.close);
  }

  async load(page = this.page) {
    const mine = (this.asked += 1);
    const wanted = { state: at("list_state").value, search: at("list_search").value, page: Math.max(0, page) };
    let found;
    try {
      found = await get("/api/list", wanted);
    } catch (error) {
      at("list_found").textContent = error.message;
      return;
    }
    if (mine !== this.asked) return;
    this.page = found.page;
    const count = found.found.toLocaleString("en");
    at("list_found").textContent = found.found === 1 ? "1 report" : found.found ? `${count} reports` : "No report fits.";
    at("list_pages").hidden = found.pages < 2;
    at("list_page").textContent = `Page ${found.page + 1} of ${found.pages}`;
    at("list_before").disabled = found.page === 0;
    at("list_after").disabled = found.page + 1 >= found.pages;
    const lines = empty("list_lines");
    for (const line of found.lines) this.line(lines, line);
  }

  line(parent, line) {
    const mine = button(put(parent, "li"), "", "line", () => this.does.open(line.row));
    put(mine, "span", line.state_words, `chip ${line.state.replace(" ", "_")}`);
    const words = put(mine, "span", "", "line_words");
    data(words, line.title, "line_title");
    data(words, `${line.when}; ${line.where}`, "small");
    if (line.remark) data(words, line.remark, "small quote");
    if (line.decided) data(words, line.decided, "small");
    put(mine, "span", "Open", "line_open");
  }
}
