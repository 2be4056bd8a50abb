// The line above every screen: what is only on this device, and what stops it from going.

import { h, notice, mark } from "./dom.js";
import { STUCK } from "./day.js";
import { count, inOneLine, instant, lasted } from "./words.js";

const A_DAY = 86_400; // s; itm/core/clock.py takes no stamp that is further ahead

export function strip(field) {
  if (!field.store) return null;
  const { handing } = field;
  const waiting = field.entries.filter((one) => one.state !== "taken");
  const photos = field.photos.filter((one) => one.state !== "taken");
  const papers = field.papers.filter((one) => !["taken", "chosen"].includes(one.state));
  const stuck = [...waiting, ...papers, ...photos].filter((one) => STUCK.has(one.state)).length;
  const parts = [
    waiting.length && count(waiting.length, "entry", "entries"),
    papers.length && count(papers.length, "report"),
    photos.length && count(photos.length, "photo"),
    field.typed.length && `${count(field.typed.length, "text")} typed and not kept`,
  ];
  const what = inOneLine(parts.filter(Boolean));
  return h(
    `section.strip${what ? ".holds" : ""}`,
    { "aria-label": "What is only on this device", id: "strip" },
    h(
      "div.strip-what",
      h(
        "p",
        what ? whatWaits(what, stuck) : "Nothing waits on this device. ",
        " ",
        h("span", { role: "status" }, state(field)),
      ),
      handing.state === "signed_out" ? h("p", h("a", { href: signIn() }, "Sign in")) : null,
    ),
    what
      ? h(
          "button",
          {
            type: "button",
            id: "send-now",
            disabled: handing.state === "sending",
            onclick: () => handing.now(),
          },
          "Send now",
        )
      : null,
    handing.clockApart
      ? notice(
          `The clock of this device is ${lasted(handing.clockApart)} ${handing.clockApart > 0 ? "ahead of" : "behind"} the server’s. ${handing.clockApart > A_DAY ? "What it stamps so is not taken" : "Times are kept as this device has them, and the record says so"}; set the clock right.`,
          "warning",
        )
      : null,
  );
}

function whatWaits(what, stuck) {
  const needs = stuck ? `; ${count(stuck, "of them needs", "of them need")} you` : "";
  return h(
    "a",
    { href: "#/waiting" },
    mark("phone"),
    h("strong", `${what} only on this device${needs}.`),
  );
}

export const signIn = () => `/sign-in/?next=${encodeURIComponent("/field/")}`;

function state({ handing, loadedAt, zone }) {
  switch (handing.state) {
    case "sending":
      return handing.left
        ? `Sending: ${handing.left} left.`
        : handing.papers
          ? `Sending: ${count(handing.papers, "report")} left.`
          : handing.photos
            ? `Sending: ${count(handing.photos, "photo")} left.`
            : "Asking the server …";
    case "no_signal":
      return "No signal; it is sent by itself later.";
    case "busy":
      return `${handing.sentence} It is tried again in ${lasted(Math.ceil(handing.next / 1000))}.`;
    case "idle":
      return loadedAt ? `As the server had it at ${instant(loadedAt, zone)}.` : "";
    default:
      return handing.sentence;
  }
}
