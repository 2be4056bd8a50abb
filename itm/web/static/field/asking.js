// One request to the server, and what its failing means. A file is as patient as its way is slow: it
// goes on while bytes go out.

const PATIENCE = 20_000; // ms for one request without a file, own choice
const STALLED = 30_000; // ms in which no byte of a file goes out, own choice
const ANSWER = 120_000; // ms for the answer after the last byte: some of it is still on its way then

/** Ends a round, or what is left of it: `kind` says what a person can do about it. `status` is what
 * the server answered, where it answered. */
export class Stopped extends Error {
  constructor(kind, sentence, status = 0) {
    super(sentence);
    this.kind = kind;
    this.status = status;
  }

  /** The server itself failed on what was sent, and may take something else. */
  get isFault() {
    return this.status >= 500;
  }
}

const SIGNED_OUT =
  "You are signed out on this device. Sign in again; what waits here is sent then.";
export const signedOut = () => new Stopped("signed_out", SIGNED_OUT);
const noAnswer = () =>
  new Stopped(navigator.onLine ? "busy" : "no_signal", "No answer from the server.");

function require(status) {
  if (status === 401) throw signedOut();
  if (status === 429 || status >= 500)
    throw new Stopped("busy", `The server cannot answer now (${status}).`, status);
}

export async function ask(address, options = {}) {
  let answer;
  try {
    answer = await fetch(address, {
      credentials: "same-origin",
      redirect: "manual",
      cache: "no-store",
      signal: AbortSignal.timeout(PATIENCE),
      ...options,
    });
  } catch {
    throw noAnswer();
  }
  if (answer.type === "opaqueredirect") throw signedOut();
  require(answer.status);
  return answer;
}

export async function json(answer) {
  try {
    return await answer.json();
  } catch {
    throw new Stopped("busy", "The answer of the server broke off.");
  }
}

function requireToken(status) {
  if (status === 403)
    throw new Stopped(
      "forbidden",
      "The server does not take this from you now. Sign in again, then send once more.",
    );
}

/** Posts of one round, under its token. */
export const poster = (csrf) => ({
  async text(address, body, type) {
    const headers = { "X-CSRFToken": csrf, "Content-Type": type };
    const answer = await ask(address, { method: "POST", body, headers });
    requireToken(answer.status);
    return answer;
  },

  /** A form with a file; what was answered, or nothing where the server could not read it. */
  async file(address, form) {
    const answer = await upload(address, form, csrf);
    requireToken(answer.status);
    if (answer.status < 200 || answer.status > 299) return null;
    try {
      return JSON.parse(answer.text);
    } catch {
      throw new Stopped("busy", "The answer of the server broke off.");
    }
  },
});

/** By the older way of asking, because only that one tells how much has gone out. */
function upload(address, form, csrf) {
  return new Promise((done, failed) => {
    const request = new XMLHttpRequest();
    let watch;
    const patient = (span) => {
      clearTimeout(watch);
      watch = setTimeout(() => request.abort(), span);
    };
    request.open("POST", address);
    request.setRequestHeader("X-CSRFToken", csrf);
    request.upload.onprogress = () => patient(STALLED);
    request.upload.onload = () => patient(ANSWER);
    request.onloadend = () => {
      clearTimeout(watch);
      try {
        if (!request.status) throw noAnswer();
        if (new URL(request.responseURL).pathname !== address) throw signedOut(); // led elsewhere
        require(request.status);
        done({ status: request.status, text: request.responseText });
      } catch (stopped) {
        failed(stopped);
      }
    };
    patient(STALLED);
    request.send(form);
  });
}
