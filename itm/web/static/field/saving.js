// The last resort: everything that waits as files, which any computer can hand in.

import { h } from "./dom.js";
import { asBase64 } from "./photos.js";
import { wire } from "./sync.js";
import { wordsOf } from "./typed.js";
import { count, inOneLine } from "./words.js";

const FITS = 10_000_000; // bytes of pictures and papers in one file: the page that takes it has its limit

/** As many files as papers and photos need; the first one has the entries. */
function parts(entries, papers, photos, typed) {
  const fresh = (own, texts) => ({ entries: own, typed: texts, papers: [], photos: [], size: 0 });
  const files = [fresh(entries, typed)];
  for (const [list, rows] of Object.entries({ papers, photos })) {
    for (const row of rows.filter(({ blob }) => blob.size <= FITS)) {
      if (files.at(-1).size + row.blob.size > FITS) files.push(fresh([], []));
      files.at(-1)[list].push(row);
      files.at(-1).size += row.blob.size;
    }
  }
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
  field.say(`${what} saved as ${into}.${without} They stay here until the server has them.`);
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
