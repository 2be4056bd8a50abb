// Photos: of the display beside the value, of a valve in its place. Kept as the camera gave them.

import { h, onlyHere } from "./dom.js";
import { count } from "./words.js";

const LARGEST = 15_000_000; // bytes, what the server takes (itm/registry/files.py)

const idOf = (of) => `photo-${Object.entries(of)[0].join("-")}`;

/** A large press that opens the camera or the pictures of the device. */
export function photoPart(field, of, words, { id = idOf(of), kept } = {}) {
  const chosen = async (event) => {
    const [file] = event.target.files;
    if (!file) return;
    if (file.size > LARGEST) {
      field.say(
        `This photo is larger than ${LARGEST / 1e6} MB. Take it again at a smaller size.`,
        "error",
      );
      return;
    }
    const photo = await field.keepPhoto(of, file, words);
    if (photo) await kept?.(photo);
  };
  return h(
    "span.photo",
    h("input.visually-hidden", {
      type: "file",
      accept: "image/*",
      capture: "environment",
      id,
      onchange: chosen,
    }),
    h("label.pick", { for: id }, "Photo", h("span.visually-hidden", ` for ${words}`)),
  );
}

/** How many photos hang here, and whether a server has them. */
export function photosOf(field, of) {
  const [kind, key] = Object.entries(of)[0];
  const own = field.photos.filter((one) => one.of[kind] === key && one.state !== "taken");
  const there = (field.view.photos ?? []).filter((one) => one.of[kind] === key);
  const taken = field.photos.filter(
    (one) => one.of[kind] === key && one.state === "taken" && !there.some((t) => t.key === one.key),
  );
  const all = own.length + there.length + taken.length;
  return all ? h("small", count(all, "photo"), " ", onlyHere(own.length)) : null;
}

export function asBase64(blob) {
  return new Promise((done, failed) => {
    const reader = new FileReader();
    reader.onload = () => done(reader.result.slice(reader.result.indexOf(",") + 1));
    reader.onerror = () => failed(reader.error);
    reader.readAsDataURL(blob);
  });
}
