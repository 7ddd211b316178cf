/* Asks the server, and tells apart what it refused from what it didn't answer. */
const token = document.querySelector("meta[name=page-token]").content;
const WAIT_MS = 20000;

export class Refused extends Error {
  constructor(status, words) {
    super(words);
    this.status = status;
  }
}

export class NoAnswer extends Error {
  constructor() {
    super(
      "No answer from roadrisk: this was probably not kept. What you wrote is still here. Look " +
      "whether roadrisk still runs in its terminal and try again; if you start it anew, open the " +
      "address that it prints. A reload shows what is kept.",
    );
  }
}

async function ask(path, options) {
  const stop = new AbortController();
  const clock = setTimeout(() => stop.abort(), WAIT_MS);
  let status, text;
  try {
    const answer = await fetch(path, {
      ...options, signal: stop.signal, credentials: "same-origin", redirect: "error",
      headers: { "X-Review-Token": token, ...(options.headers || {}) },
    });
    status = answer.status;
    text = await answer.text();
  } catch (error) {
    throw new NoAnswer();
  } finally {
    clearTimeout(clock);
  }
  if (status !== 200) throw new Refused(status, text);
  return JSON.parse(text);
}

export const get = (path, values = {}) => {
  const query = new URLSearchParams(values).toString();
  return ask(query ? `${path}?${query}` : path, { method: "GET" });
};

export const post = (path, values) => ask(path, {
  method: "POST", body: JSON.stringify(values), headers: { "Content-Type": "application/json" },
});
