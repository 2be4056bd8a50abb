// A key that follows from another and a name (RFC 9562, version 5), as Python's uuid.uuid5 makes it.

const hex = (bytes) => [...bytes].map((byte) => byte.toString(16).padStart(2, "0")).join("");
const bytesOf = (key) =>
  Uint8Array.from(key.replaceAll("-", "").match(/../g), (two) => parseInt(two, 16));

export async function keyFrom(parent, name) {
  const told = [...bytesOf(parent), ...new TextEncoder().encode(name)];
  const digest = await crypto.subtle.digest("SHA-1", Uint8Array.from(told));
  const made = new Uint8Array(digest).slice(0, 16);
  made[6] = (made[6] & 0x0f) | 0x50;
  made[8] = (made[8] & 0x3f) | 0x80;
  return hex(made).replace(/^(.{8})(.{4})(.{4})(.{4})(.{12})$/, "$1-$2-$3-$4-$5");
}

/** Keys of lines by what each says, as itm/records/prepared_keys.py makes them. */
export async function keysByText(parent, what, texts) {
  const seen = new Map();
  const keys = [];
  for (const text of texts) {
    seen.set(text, (seen.get(text) ?? 0) + 1);
    keys.push(await keyFrom(parent, `${what} ${seen.get(text)}: ${text}`));
  }
  return keys;
}
