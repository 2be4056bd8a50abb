// The last resort: everything that waits as files, which any computer can hand in.

import { h } from "./dom.js";
import { asBase64 } from "./photos.js";
import { HAND_INS, wire } from "./sync.js";
import { wordsOf } from "./typed.js";
import { count, inOneLine } from "./words.js";

const FITS = 10_000_000; // bytes of pictures and papers in one file: the page that takes it has its limit
const LAST = new Set([...HAND_INS, "inspect", "inspect_site"]); // an inspection names its photos

/**
 * As many files as papers and photos need. Entries are short and taken once however often they come,
 * so each file that needs them has them: the first for what hangs on them, the last because there
 * hand-ins and inspections meet all that they hang on. The last one also names the papers that are
 * not in it, so that no check is handed in before those.
 */
export function parts(entries, papers, photos, typed) {
  const lists = () => ({ entries: [], papers: [], photos: [], elsewhere: [] });
  const fresh = (texts) => ({ ...lists(), typed: texts, size: 0 });
  const files = [fresh(typed)];
  for (const [list, rows] of Object.entries({ papers, photos })) {
    for (const row of rows.filter(({ blob }) => blob.size <= FITS)) {
      if (files.at(-1).size + row.blob.size > FITS) files.push(fresh([]));
      files.at(-1)[list].push(row);
      files.at(-1).size += row.blob.size;
    }
  }
  const last = files.at(-1);
  files[0].entries = entries.filter(({ verb }) => !LAST.has(verb));
  last.entries = entries;
  last.elsewhere = papers.filter((one) => !last.papers.includes(one)).map(({ key }) => key);
  return files;
}

export async function save(field, entries, papers, photos, typed) {
  const files = parts(entries, papers, photos, typed);
  const saved = new Date().toISOString();
  for (const [number, part] of files.entries()) {
    const whole = {
      kind: "field entries",
      form: 1,
      person: field.person,
      saved_at: saved,
      entries: part.entries.map(wire),
      typed: part.typed.map((one) => ({ visit: one.visit, text: wordsOf(field, one) })),
      papers: await Promise.all(part.papers.map(asFile)),
      photos: await Promise.all(part.photos.map(asFile)),
      elsewhere: part.elsewhere,
    };
    const stamp = saved.slice(0, 19).replaceAll(":", "");
    download(whole, `field-entries-${stamp}${files.length > 1 ? `-${number + 1}` : ""}.json`);
  }
  const put = (list) => files.reduce((sum, part) => sum + part[list].length, 0);
  const what = inOneLine(
    [
      count(entries.length, "entry", "entries"),
      papers.length && count(put("papers"), "report"),
      count(put("photos"), "photo"),
      typed.length && `${count(typed.length, "text")} typed and not kept`,
    ].filter(Boolean),
  );
  const left = papers.length + photos.length - put("papers") - put("photos");
  const into = files.length === 1 ? "a file" : `${files.length} files`;
  const without = left
    ? ` ${count(left, "picture or report", "pictures or reports")} too large for a file ${left === 1 ? "stays" : "stay"} here alone.`
    : "";
  const order = files.length === 1 ? "" : " Hand them in by their numbers.";
  field.say(`${what} saved as ${into}.${order}${without} They stay here until the server has them.`);
}

async function asFile({ key, of, put, at, name, type, blob }) {
  return { key, of, ...(put && { put }), at, name, type, data: await asBase64(blob) };
}

function download(whole, name) {
  const blob = new Blob([JSON.stringify(whole, null, 1)], { type: "application/json" });
  const address = URL.createObjectURL(blob);
  const link = h("a", { href: address, download: name });
  document.body.append(link);
  link.click();
  link.remove();
  setTimeout(() => URL.revokeObjectURL(address), 60_000);
}
