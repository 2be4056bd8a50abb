// How much stands in a vessel of ideal shape at a level: m and m³, the level from the lowest point
// inside. The same geometry as calc/vessels.py and calc/vessel_form.py, because a vessel may be
// measured where there is no signal; tests/browser/test_field_direct.py holds the two together.

// Each shape with the sizes that it has.
export const SIZES = {
  standing_cylinder: ["diameter", "length", "heads"],
  lying_cylinder: ["diameter", "length", "heads"],
  sphere: ["diameter"],
  box: ["length", "width", "height"],
};
const HALF_ELLIPSE = 0.25; // depth over diameter of a 2:1 head
const KNUCKLE = 0.06; // of a torispherical head, over the diameter; its dish is as wide as that
const LARGEST = 1000; // m, a longer vessel is a slip of the unit

/** A whole vessel of possible size, or nothing. */
export function whole(vessel) {
  const sizes = SIZES[vessel.shape];
  if (!sizes) return null;
  const fits = sizes.every((name) =>
    name === "heads" ? vessel.heads : vessel[name] > 0 && vessel[name] <= LARGEST,
  );
  return fits ? vessel : null;
}

/** The highest level inside. */
export function heightOf(vessel) {
  if (vessel.shape === "box") return vessel.height;
  if (vessel.shape !== "standing_cylinder") return vessel.diameter;
  return vessel.length + 2 * depthOf(vessel);
}

export function volumeAt(vessel, level) {
  const radius = vessel.diameter / 2;
  switch (vessel.shape) {
    case "box":
      return vessel.length * vessel.width * level;
    case "sphere":
      return cap(radius, level);
    case "lying_cylinder":
      return segment(radius, level - radius) * vessel.length + 2 * lyingHead(vessel, level);
    default:
      return standing(vessel, level);
  }
}

const cap = (radius, depth) => Math.PI * depth * depth * (radius - depth / 3);

/** Area of a circle below a level that is counted from its middle. */
function segment(radius, above) {
  const share = Math.min(1, Math.max(-1, above / Math.max(radius, 1e-300)));
  return radius * radius * (Math.acos(-share) + share * Math.sqrt(1 - share * share));
}

/** Two arcs that touch: depth of the dish, depth of the bend, and the radius where they meet. */
function dish(diameter) {
  const crown = diameter;
  const knuckle = KNUCKLE * diameter;
  const sine = (diameter / 2 - knuckle) / (crown - knuckle);
  const cosine = Math.sqrt(1 - sine * sine);
  return {
    crown,
    knuckle,
    ring: diameter / 2 - knuckle,
    dish: crown * (1 - cosine),
    bend: knuckle * cosine,
    meet: crown * sine,
  };
}

function depthOf({ heads, diameter }) {
  if (heads === "ellipsoidal") return HALF_ELLIPSE * diameter;
  if (heads !== "torispherical") return 0;
  const head = dish(diameter);
  return head.dish + head.bend;
}

// Standing ---------------------------------------------------------------------------------------

function standing(vessel, level) {
  const radius = vessel.diameter / 2;
  const depth = depthOf(vessel);
  const shell = Math.PI * radius * radius * Math.min(vessel.length, Math.max(0, level - depth));
  const empty = Math.min(depth + vessel.length + depth - level, depth);
  return (
    standingHead(vessel, Math.min(level, depth)) +
    shell +
    standingHead(vessel, depth) -
    standingHead(vessel, empty)
  );
}

/** From the tip of a head up to a height within it. */
function standingHead({ heads, diameter }, height) {
  const radius = diameter / 2;
  if (heads === "ellipsoidal") {
    const depth = HALF_ELLIPSE * diameter;
    return ((Math.PI * radius * radius * height * height) / depth) * (1 - height / (3 * depth));
  }
  if (heads !== "torispherical") return 0;
  const head = dish(diameter);
  const turned = (s) => {
    const inside = Math.min(1, Math.max(0, s / head.knuckle));
    const arc =
      s * Math.sqrt(1 - inside * inside) * head.knuckle + head.knuckle ** 2 * Math.asin(inside);
    return (head.ring ** 2 + head.knuckle ** 2) * s + head.ring * arc - s ** 3 / 3;
  };
  const left = Math.min(head.dish + head.bend - height, head.bend);
  return (
    cap(head.crown, Math.min(height, head.dish)) + Math.PI * (turned(head.bend) - turned(left))
  );
}

// Lying ------------------------------------------------------------------------------------------

/** One head of a lying cylinder, the same below its axis as above it. */
function lyingHead(vessel, level) {
  if (vessel.heads === "flat") return 0;
  const above = level - vessel.diameter / 2;
  const lower = lyingBelow(vessel, -Math.abs(above));
  return above > 0 ? 2 * lyingBelow(vessel, 0) - lower : lower;
}

function lyingBelow({ heads, diameter }, above) {
  const radius = diameter / 2;
  if (heads === "ellipsoidal")
    return (HALF_ELLIPSE * diameter * cap(radius, radius + above)) / radius / 2;
  return profile(diameter).reduce((total, { start, end, radiusAt, reach }) => {
    const stop = Math.min(end, Math.max(start, reach(-above)));
    const parts = NODES.map(
      (node, i) => WEIGHTS[i] * segment(radiusAt(start + node * (stop - start)), above),
    );
    return total + (stop - start) * parts.reduce((sum, one) => sum + one, 0);
  }, 0);
}

// Nodes and weights from 0 to 1, closing in on both ends doubly exponentially: Takahasi and Mori,
// Publ. RIMS 9 (1974) 721.
const STEPS = Array.from({ length: 65 }, (_, i) => 0.1 * (i - 32));
const NODES = STEPS.map((t) => 1 / (1 + Math.exp(-Math.PI * Math.sinh(t))));
const WEIGHTS = STEPS.map((t, i) => 0.1 * Math.PI * Math.cosh(t) * NODES[i] * (1 - NODES[i]));

const leg = (long, other) => Math.sqrt(Math.max(long * long - other * other, 0));

/** Bend and dish along the axis: from, to, radius at a place, and the place of a radius. */
function profile(diameter) {
  const head = dish(diameter);
  const centre = head.dish + head.bend - head.crown;
  return [
    {
      start: 0,
      end: head.bend,
      radiusAt: (x) => head.ring + leg(head.knuckle, x),
      reach: (r) => (r > head.meet ? leg(head.knuckle, r - head.ring) : head.bend),
    },
    {
      start: head.bend,
      end: head.dish + head.bend,
      radiusAt: (x) => leg(head.crown, x - centre),
      reach: (r) => centre + leg(head.crown, r),
    },
  ];
}
