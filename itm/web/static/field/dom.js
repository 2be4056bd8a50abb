// Elements as nested calls. Text stays text: nothing that was typed can become markup.

const SVG = "http://www.w3.org/2000/svg";
const MARKS = {
  "in band": { circle: { cx: 7, cy: 7, r: 5, fill: "currentColor" } },
  lean: { path: { d: "M1 2h12L7 13z", fill: "currentColor" } },
  rich: { path: { d: "M1 12h12L7 1z", fill: "currentColor" } },
  warning: {
    path: {
      d: "M7 1l6 12H1zM7 5v4M7 10.5v1",
      fill: "none",
      stroke: "currentColor",
      "stroke-width": 1.5,
    },
  },
  note: {
    path: {
      d: "M2 1h10v12H2zM4.5 5h5M4.5 8h5",
      fill: "none",
      stroke: "currentColor",
      "stroke-width": 1.5,
    },
  },
  phone: {
    path: { d: "M4 1h6v12H4zM6 11h2", fill: "none", stroke: "currentColor", "stroke-width": 1.5 },
  },
};

/** `h("p.lead", { id: "x", onclick: f }, "text", node, [nodes], null)`. */
export function h(tag, props, ...children) {
  if (
    props === null ||
    typeof props !== "object" ||
    props instanceof Node ||
    Array.isArray(props)
  ) {
    children.unshift(props);
    props = {};
  }
  const [name, ...classes] = tag.split(".");
  const element = document.createElement(name || "div");
  if (classes.length) element.className = classes.join(" ");
  for (const [key, value] of Object.entries(props)) {
    if (value === undefined || value === null || value === false) continue;
    if (key.startsWith("on")) element.addEventListener(key.slice(2), value);
    else if (key === "value" || key === "checked" || key === "disabled") element[key] = value;
    else element.setAttribute(key, value === true ? "" : value);
  }
  element.append(
    ...children
      .flat(3)
      .filter((child) => child !== null && child !== undefined && child !== false && child !== ""),
  );
  return element;
}

/** A drawn mark; the faces of the product hold no such characters. */
export function mark(kind) {
  const svg = document.createElementNS(SVG, "svg");
  const own = { class: "mark", width: 14, height: 14, viewBox: "0 0 14 14", "aria-hidden": "true" };
  for (const [key, value] of Object.entries(own)) svg.setAttribute(key, value);
  for (const [name, attributes] of Object.entries(MARKS[kind])) {
    const shape = document.createElementNS(SVG, name);
    for (const [key, value] of Object.entries(attributes)) shape.setAttribute(key, value);
    svg.append(shape);
  }
  return svg;
}

export const num = (text) => h("span.num", text);

export function caution(text) {
  return text ? h("aside.caution", h("p", h("strong", "Caution:"), ` ${text}`)) : null;
}

export function notice(text, kind = "note", where = "") {
  if (!text) return null;
  return h(
    `p.notice.${kind}`,
    mark(kind),
    h(
      "span",
      kind === "warning" && h("b.visually-hidden", "Warning: "),
      where && h("strong", `${where}: `),
      text,
    ),
  );
}

export function empty(sentence, action) {
  return h("div.empty", h("p", sentence), action);
}

/** The words beside something that no server has yet. */
export function onlyHere(pending) {
  return pending ? h("small.only-here", mark("phone"), "only on this device") : null;
}

export function limits(word) {
  return h(
    `span.limits.${word === "in band" ? "inside" : "outside"}`,
    mark(word),
    h("strong", word),
  );
}

/** One labelled entry; `error` stands under it and is read out with it. */
export function field({ id, label, help, error, optional, control }) {
  const wanted = [help && `${id}-help`, error && `${id}-error`].filter(Boolean).join(" ");
  const entry = control.matches("input, select, textarea")
    ? control
    : control.querySelector("input, select, textarea");
  entry.id = id;
  if (wanted) entry.setAttribute("aria-describedby", wanted);
  if (error) entry.setAttribute("aria-invalid", "true");
  return h(
    `div.field${error ? ".wrong" : ""}`,
    h("label", { for: id }, label, optional && h("small", " optional")),
    control,
    help && h("small.help", { id: `${id}-help` }, help),
    error && h("p.error", { id: `${id}-error` }, error),
  );
}

let last = null; // what had the keyboard last; a press that is on its way loses it
document.addEventListener("focusin", (event) => (last = event.target));

/** What has the keyboard, or had it until it was pressed. */
function held(root) {
  const active = document.activeElement;
  if (root.contains(active)) return active;
  return last?.disabled && root.contains(last) ? last : null;
}

/** By what it and all around it can be found again on a fresh screen, from the inside out. */
function placesOf(element, root) {
  const found = [];
  for (let one = element; one && one !== root; one = one.parentElement) {
    const [id, named] = [one.id, one.getAttribute("aria-labelledby")];
    if (id) found.push(`#${CSS.escape(id)}`);
    else if (named) found.push(`[aria-labelledby="${CSS.escape(named)}"]`);
  }
  return found;
}

/** Put a fresh screen in place and leave the person where they were: focus, caret, scrolling. Where
 * what was pressed is gone, the keyboard stands before what it stood in. */
export function replace(root, nodes) {
  const active = held(root);
  const caret =
    active && typeof active.selectionStart === "number"
      ? [active.selectionStart, active.selectionEnd]
      : null;
  const places = placesOf(active, root);
  const open = new Set([...root.querySelectorAll("details[open][id]")].map((one) => one.id));
  const { scrollX, scrollY } = window;
  root.replaceChildren(...nodes.flat(3).filter(Boolean));
  for (const id of open) {
    const details = document.getElementById(id);
    if (details) details.open = true;
  }
  window.scrollTo(scrollX, scrollY);
  const again = places.map((place) => root.querySelector(place)).find(Boolean);
  if (!again) return;
  if (!again.matches("a, button, input, select, textarea, summary")) again.tabIndex = -1;
  again.focus({ preventScroll: true });
  try {
    if (caret) again.setSelectionRange(...caret);
  } catch {
    // Some kinds of entry have no caret.
  }
}
