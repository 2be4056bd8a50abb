// A flow point that was left out as its test was prepared, over the day as it was sent. Its run has a
// key that every device works out, so what is measured there hangs on it at once.

export const leftOf = (test) => test.points_left ?? []; // a copy from before this page knew them has none

export function runAdded({ rows, row: test, put, entry }) {
  const point = leftOf(test).find((one) => one.flow_point === put.flow_point);
  if (!point || rows.has(point.run)) return;
  const { run: key, name, flow, flow_typed, band, measured } = point;
  const made = {
    key,
    name,
    flow,
    flow_typed,
    band,
    inlet_pressure: "",
    solution_flow: "",
    flow_source: "",
    outlets: [],
    level_before: "",
    level_after: "",
    foam_seen_at: null,
    remarks: [],
    pending: entry.state !== "taken",
    test,
  };
  test.runs = [...test.runs, made].sort((one, other) => one.flow - other.flow);
  test.points_left = leftOf(test).filter((one) => one !== point);
  if (test.measured) test.measured[key] = { ...measured };
  rows.set(key, made);
}
