// @ts-check
/**
 * The schematic of chambers and valves at one instant.
 *
 * The heart is unfolded: inflow at the sides, outflow in the middle. Each cavity hangs on the
 * valves' plane; its area on the drawing is proportional to its computed volume, and its wall
 * has an area of its own that stays the same, so that it thickens as the cavity empties.
 */

/**
 * @typedef {{id: string, label: string, values: number[]}} Channel
 * @typedef {{id: string, title: string, open: [number, number][], area: number, leak: number}} Valve
 * @typedef {{start_s: number, end_s: number, step_s: number, channels: Channel[], valves: Valve[],
 *   phases: {title: string, from: number, to: number}[]}} Beat
 */

/** The height of the valves' plane, and the area drawn for a millilitre. */
const PLANE = 136;
const AREA_PER_ML = 36;
/** Seconds that a valve takes to open or shut on the drawing; what is computed is the instant. */
const SWING_S = 0.02;

/**
 * From where to where each chamber spans the plane, on which side its free wall is (−1 left), which
 * way it hangs (1 down), and the area of its wall.
 */
const CHAMBERS = {
  ra: { from: 36, to: 86, side: -1, down: -1, wall: 500 },
  rv: { from: 36, to: 126, side: -1, down: 1, wall: 1000 },
  la: { from: 174, to: 224, side: 1, down: -1, wall: 500 },
  lv: { from: 134, to: 224, side: 1, down: 1, wall: 2600 },
};

/** Where each valve's leaflets are hinged, and which way they open. */
const VALVES = {
  tricuspid: { from: 42, to: 82, down: 1 },
  pulmonary: { from: 90, to: 122, down: -1 },
  aortic: { from: 138, to: 170, down: -1 },
  mitral: { from: 178, to: 218, down: 1 },
};

/**
 * The value of a channel at a time.
 * @param {Beat} beat
 * @param {string} id
 * @param {number} time
 */
export function valueAt(beat, id, time) {
  const values = beat.channels.find((channel) => channel.id === id)?.values ?? [0];
  const place = Math.min(Math.max((time - beat.start_s) / beat.step_s, 0), values.length - 1);
  const left = Math.floor(place);
  const right = Math.min(left + 1, values.length - 1);
  return values[left] + (place - left) * (values[right] - values[left]);
}

/**
 * How far a valve is open at a time, 0 to 1.
 * @param {Valve} valve
 * @param {number} time
 */
function openness(valve, time) {
  let most = 0;
  for (const [from, to] of valve.open) {
    if (time < from || time > to + SWING_S) continue;
    most = Math.max(most, Math.min((time - from) / SWING_S, 1, 1 - (time - to) / SWING_S));
  }
  return most;
}

/**
 * The valves that are open at a time.
 * @param {Beat} beat
 * @param {number} time
 */
export const openValves = (beat, time) =>
  beat.valves.filter((valve) => valve.open.some(([from, to]) => from <= time && time < to));

/**
 * A bag on the plane with the given area: a cubic curve from hinge to hinge whose free side bulges
 * the more the fuller it is. Its area is 0.3 · h · (2 · width + b) for a height h of its control
 * points and a bulge b, and b = 0.45 · h − 15 here, which makes h a root of a quadratic equation.
 * @param {{from: number, to: number, side: number, down: number}} chamber
 * @param {number} area
 */
function bag({ from, to, side, down }, area) {
  const linear = 0.3 * (2 * (to - from) - 15);
  const h = (Math.sqrt(linear * linear + 4 * 0.135 * area) - linear) / (2 * 0.135);
  const bulge = 2 * (0.45 * h - 15);
  const [left, right] = side < 0 ? [from - bulge, to] : [from, to + bulge];
  const y = PLANE + down * h;
  return `M${from} ${PLANE}C${left.toFixed(1)} ${y.toFixed(1)} ${right.toFixed(1)} ${y.toFixed(1)} ${to} ${PLANE}`;
}

/**
 * Two leaflets, and the arrow of the stream while they are open.
 * @param {{from: number, to: number, down: number}} place
 * @param {Valve} valve
 * @param {number} open 0 to 1
 */
function leaflets({ from, to, down }, valve, open) {
  const shut = Math.min(valve.leak * 2, 0.35);
  const wide = shut + (Math.sqrt(valve.area) - shut) * open;
  const reach = (to - from) / 2;
  const gap = reach * 0.86 * Math.min(Math.max(wide, 0), 1);
  const tip = PLANE + down * (open > 0 ? 4 + 12 * open : -3);
  return `M${from} ${PLANE}L${from + reach - gap} ${tip}M${to} ${PLANE}L${to - reach + gap} ${tip}`;
}

/**
 * Draws the schematic.
 * @param {Element} svg
 * @param {Beat} beat
 * @param {number} time
 */
export function drawSchematic(svg, beat, time) {
  for (const [id, chamber] of Object.entries(CHAMBERS)) {
    const area = AREA_PER_ML * valueAt(beat, `${id}_volume`, time);
    const inset = { ...chamber, from: chamber.from + 3, to: chamber.to - 3 };
    svg.querySelector(`#wall-${id}`)?.setAttribute("d", bag(chamber, area + chamber.wall));
    svg.querySelector(`#cavity-${id}`)?.setAttribute("d", bag(inset, area));
  }
  for (const valve of beat.valves) {
    const place = VALVES[/** @type {keyof typeof VALVES} */ (valve.id)];
    if (!place) continue;
    const open = openness(valve, time);
    svg.querySelector(`#valve-${valve.id}`)?.setAttribute("d", leaflets(place, valve, open));
    const middle = (place.from + place.to) / 2;
    const [tail, head] = [PLANE - place.down * 12, PLANE + place.down * 26];
    const arrow = `M${middle} ${tail}V${head}m-4 ${-5 * place.down}l4 ${5 * place.down}l4 ${-5 * place.down}`;
    svg.querySelector(`#stream-${valve.id}`)?.setAttribute("d", open > 0.5 ? arrow : "");
  }
}
