// Times and numbers as people read them. Instants are shown on the clock of the site.

/** The steps of a test day that are worked on the spot. */
export const LABELS = {
  discharge: "Discharge",
  stop: "Stop and flush",
  restore: "Restore",
  bench: "Bench",
  result: "Result",
};
/** Meters and levels are read while it flows, so before the stop. */
export const DIRECT_LABELS = {
  discharge: "Discharge",
  measure: "Measure",
  stop: "Stop and flush",
  restore: "Restore",
  result: "Result",
};

const formats = new Map();

function format(zone, options) {
  const name = `${zone} ${JSON.stringify(options)}`;
  if (!formats.has(name)) {
    formats.set(
      name,
      new Intl.DateTimeFormat("en-GB", { timeZone: zone, hourCycle: "h23", ...options }),
    );
  }
  return formats.get(name);
}

export function clock(at, zone) {
  return at
    ? format(zone, { hour: "2-digit", minute: "2-digit", second: "2-digit" }).format(new Date(at))
    : "";
}

const MONTHS = "Jan Feb Mar Apr May Jun Jul Aug Sep Oct Nov Dec".split(" ");

/** Day and minute as everywhere in the product, on the clock of the site: 12 Nov 2026 14:05. */
export function instant(at, zone) {
  if (!at) return "";
  const local = forEntry(at, zone);
  return `${day(local.slice(0, 10))} ${local.slice(11)}`;
}

export function day(date) {
  const [year, month, number] = date.split("-").map(Number);
  return `${number} ${MONTHS[month - 1]} ${year}`;
}

export const seconds = (from, to) => Math.round((new Date(to) - new Date(from)) / 1000);

export function lasted(span) {
  const minutes = Math.floor(Math.abs(span) / 60);
  const parts = [];
  if (minutes >= 60) parts.push(`${Math.floor(minutes / 60)} h`);
  if (minutes) parts.push(`${minutes % 60} min`);
  else parts.push(`${Math.abs(span) % 60} s`);
  return parts.join(" ");
}

/** “2 minutes 30 seconds”, as itm/core/durations.py says it. */
export function inWords(span) {
  const whole = Math.round(span * 10) / 10;
  const minutes = Math.floor(whole / 60);
  const parts = [
    [Math.floor(minutes / 60), "hour"],
    [minutes % 60, "minute"],
    [Number((whole % 60).toFixed(1)), "second"],
  ];
  return (
    parts
      .filter(([n]) => n)
      .map(([n, name]) => count(n, name))
      .join(" ") || "0 seconds"
  );
}

export const count = (n, one, many = `${one}s`) => `${n} ${n === 1 ? one : many}`;

/** “a”, “a and b”, “a, b and c”. */
export const inOneLine = (parts) =>
  parts.length < 2 ? parts.join("") : `${parts.slice(0, -1).join(", ")} and ${parts.at(-1)}`;

/** Text for an entry of a local time, on the clock of the site. */
export function forEntry(at, zone) {
  const parts = Object.fromEntries(
    format(zone, {
      year: "numeric",
      month: "2-digit",
      day: "2-digit",
      hour: "2-digit",
      minute: "2-digit",
    })
      .formatToParts(new Date(at))
      .map(({ type, value }) => [type, value]),
  );
  return `${parts.year}-${parts.month}-${parts.day}T${parts.hour}:${parts.minute}`;
}

/** The instant of a local time typed on the clock of the site; null where that is no time, or one
 * that the clock never showed or showed twice, in the night in which it is changed. */
export function fromEntry(text, zone) {
  const wall = Date.parse(`${text}Z`);
  if (Number.isNaN(wall)) return null;
  // Offsets are those of half a day before and after: there is one change of the clocks at most.
  const offset = (at) => Date.parse(`${forEntry(at, zone)}Z`) - Math.floor(at / 60_000) * 60_000;
  const shown = new Set(
    [wall - HALF_A_DAY, wall + HALF_A_DAY]
      .map((at) => wall - offset(at))
      .filter((at) => forEntry(at, zone) === new Date(wall).toISOString().slice(0, 16)),
  );
  return shown.size === 1 ? new Date([...shown][0]).toISOString() : null;
}

const HALF_A_DAY = 43_200_000;
