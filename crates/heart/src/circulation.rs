//! The circulation: chambers, valves, arteries and veins, and how fast each changes.
//!
//! Pressures are in mmHg, volumes in mL, flows in mL/s, areas in cm², lengths in cm, times
//! in seconds. Values without a source were tuned so that the resting heart meets the
//! published ranges that `tests/` names; they stand for a resting adult's whole organs.

use serde::Serialize;

use crate::Parameters;

/// Density of blood over the mmHg in dyn/cm²: turns cm²/s² into mmHg (1.06 g/cm³).
pub(crate) const DENSITY: f64 = 1.06 / 1333.22;

/// How many numbers describe the circulation's state.
pub(crate) const STATES: usize = 30;
/// The first of them that are volumes; they add up to the blood volume.
pub(crate) const VOLUMES: usize = 15;

/// The circulation at one instant, see the constants in [`at`].
pub(crate) type State = [f64; STATES];

/// Where each quantity stands in a [`State`].
pub(crate) mod at {
    pub(crate) const LA: usize = 0;
    pub(crate) const LV: usize = 1;
    pub(crate) const RA: usize = 2;
    pub(crate) const RV: usize = 3;
    /// The four of them.
    pub(crate) const CHAMBERS: std::ops::Range<usize> = LA..RV + 1;
    /// Ascending aorta and arch.
    pub(crate) const ROOT: usize = 4;
    /// Descending thoracic aorta.
    pub(crate) const THORACIC: usize = 5;
    /// Abdominal aorta and its branches.
    pub(crate) const ABDOMINAL: usize = 6;
    /// Arteries of the legs.
    pub(crate) const LEGS: usize = 7;
    /// Subclavian, brachial and radial artery of one arm.
    pub(crate) const ARM: [usize; 3] = [8, 9, 10];
    /// Systemic veins.
    pub(crate) const VEINS: usize = 11;
    /// Pulmonary trunk.
    pub(crate) const PA: usize = 12;
    /// Pulmonary arteries within the lungs.
    pub(crate) const LUNGS: usize = 13;
    /// Pulmonary veins.
    pub(crate) const PV: usize = 14;
    /// Flows through the large arteries, in order of [`super::LINKS`].
    pub(crate) const FLOWS: usize = 15;
    /// Flows through mitral, aortic, tricuspid and pulmonary valve.
    pub(crate) const VALVE_FLOWS: usize = 22;
    /// How far each of the four valves is open, 0 to 1.
    pub(crate) const LEAFLETS: usize = 26;
}

pub(crate) const MITRAL: usize = 0;
pub(crate) const AORTIC: usize = 1;
pub(crate) const TRICUSPID: usize = 2;
pub(crate) const PULMONARY: usize = 3;

/// From which to which volume each artery's flow runs.
pub(crate) const LINKS: [(usize, usize); 7] = [
    (at::ROOT, at::THORACIC),
    (at::THORACIC, at::ABDOMINAL),
    (at::ABDOMINAL, at::LEGS),
    (at::ROOT, at::ARM[0]),
    (at::ARM[0], at::ARM[1]),
    (at::ARM[1], at::ARM[2]),
    (at::PA, at::LUNGS),
];

/// From which to which volume each valve lets blood pass.
pub(crate) const VALVES: [(usize, usize); 4] =
    [(at::LA, at::LV), (at::LV, at::ROOT), (at::RA, at::RV), (at::RV, at::PA)];

/// A piece of artery: length and wave speed give its delay, the characteristic impedance
/// how much of that is compliance (`length/(speed·impedance)`) and how much inertance
/// (`impedance·length/speed`), after the transmission-line equations.
struct Segment {
    at: usize,
    length_cm: f64,
    /// Aorta 6.7 m/s (Murgo et al., Circulation 1980;62:105), faster towards the periphery
    /// (Nichols & O'Rourke, from memory).
    speed_cm_s: f64,
    /// mmHg·s/mL. Aorta 0.035–0.040 (Murgo 1980; Nichols et al., Circ Res 1977;40:451);
    /// beyond it density·speed/area with areas from memory.
    impedance: f64,
    /// Share of the circuit's flow that leaves here through arterioles.
    share: f64,
}

/// How many pieces there are, and how many of them are systemic; the rest are pulmonary.
const PIECES: usize = 9;
const SYSTEMIC: usize = 7;

const SEGMENTS: [Segment; PIECES] = [
    Segment { at: at::ROOT, length_cm: 7.0, speed_cm_s: 660.0, impedance: 0.038, share: 0.22 },
    Segment { at: at::THORACIC, length_cm: 17.0, speed_cm_s: 720.0, impedance: 0.052, share: 0.06 },
    Segment {
        at: at::ABDOMINAL,
        length_cm: 20.0,
        speed_cm_s: 820.0,
        impedance: 0.090,
        share: 0.50,
    },
    Segment { at: at::LEGS, length_cm: 30.0, speed_cm_s: 950.0, impedance: 0.24, share: 0.20 },
    Segment { at: at::ARM[0], length_cm: 24.0, speed_cm_s: 820.0, impedance: 1.4, share: 0.0 },
    Segment { at: at::ARM[1], length_cm: 26.0, speed_cm_s: 900.0, impedance: 5.0, share: 0.0 },
    Segment { at: at::ARM[2], length_cm: 24.0, speed_cm_s: 1000.0, impedance: 14.0, share: 0.02 },
    Segment { at: at::PA, length_cm: 6.0, speed_cm_s: 250.0, impedance: 0.018, share: 0.0 },
    Segment { at: at::LUNGS, length_cm: 9.0, speed_cm_s: 250.0, impedance: 0.018, share: 1.0 },
];

/// Share of that compliance that is there at the pressures of a beat: arteries stiffen as
/// they fill (tuned to a pulse pressure of some 45 mmHg).
const FILLING: f64 = 0.9;

/// Time constant of the arterial wall's viscosity, in seconds (tuned: damps the ladder's own
/// ringing above some 15 Hz, leaves the pulse).
const WALL_VISCOSITY_S: f64 = 0.012;
/// The same in the narrow arteries of the arm.
const ARM_VISCOSITY_S: f64 = 0.003;
/// Systemic resistance at rest, mmHg·s/mL; measured 0.85 ± 0.03 SEM (Murgo 1980), tables 0.6–1.1.
const SYSTEMIC_RESISTANCE: f64 = 1.03;
/// Veins to right atrium, mmHg·s/mL (tuned).
const VENOUS_RESISTANCE: f64 = 0.035;
/// Pulmonary arterioles, mmHg·s/mL; tables 0.03–0.19.
const PULMONARY_RESISTANCE: f64 = 0.070;
/// Pulmonary veins to left atrium, mmHg·s/mL (tuned).
const PULMONARY_VEIN_RESISTANCE: f64 = 0.010;
/// Pulmonary veins: compliance in mL/mmHg and unstressed volume in mL.
const PULMONARY_VEIN_COMPLIANCE: f64 = 16.0;
/// Systemic veins: compliance in mL/mmHg and unstressed volume in mL.
const VEIN_COMPLIANCE: f64 = 90.0;
const VEIN_UNSTRESSED: f64 = 3100.0;
/// Blood that never moves in the model: what fills vessels at no pressure, arteries, lungs.
const STILL_VOLUME: f64 = 800.0;
/// An adult's blood, mL.
pub(crate) const BLOOD_VOLUME: f64 = 5000.0;
/// How softly a vein goes from full to collapsed, in mL.
const COLLAPSE_ML: f64 = 120.0;

/// A ventricle: end-systolic line and filling curve.
///
/// `P = e·Emax·(V − V0)·(1 − kR·Q) + (1 − e)·A·(exp(k(V − V0)) − 1)`, the form of Ursino, Am J Physiol
/// 1998;275:H1733 (from memory), with `e` from 0 to 1.
#[derive(Clone, Copy, Debug, Serialize)]
struct Ventricle {
    /// mmHg/mL. Left 2.1 ± 0.7 (Borlaug et al., Circ Heart Fail 2013;6:944).
    emax: f64,
    v0: f64,
    a: f64,
    k: f64,
    /// Share of the active pressure lost for each mL/s ejected, s/mL: muscle that shortens pulls
    /// less (kR in Ursino 1998: 3.75e-4 left, 1.4e-3 right, from memory; tuned between).
    shortening: f64,
}

impl Ventricle {
    /// The filling curve's exponential.
    fn filling(&self, volume: f64) -> f64 {
        bounded_exp(self.k * (volume - self.v0))
    }

    /// The same, from its `value` at a volume of `known`: where the two are near, by the first terms
    /// of its series, which are exact to 1e-13 and take a fraction of the time.
    fn filling_near(&self, volume: f64, known: f64, value: f64) -> f64 {
        let x = self.k * (volume - known);
        if x.abs() > 0.02 || value > 300.0 {
            return self.filling(volume);
        }
        let squared = x * x;
        let ends = (1.0 / 6.0 + x / 24.0) + squared / 120.0;
        value * ((1.0 + x) + squared * (0.5 + x * ends))
    }

    fn pressure(&self, volume: f64, filling: f64, activation: f64, outflow: f64) -> f64 {
        activation * self.emax * (volume - self.v0) * (1.0 - self.shortening * outflow)
            + (1.0 - activation) * self.a * (filling - 1.0)
    }
}

/// The filling curves' exponentials in one state, left and right.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Filling {
    volumes: [f64; 2],
    values: [f64; 2],
}

/// `exp`, going on as a straight line from 6 on, so that no volume overflows it.
fn bounded_exp(x: f64) -> f64 {
    if x > 6.0 { 403.428_793_492_735_1 * (x - 5.0) } else { libm::exp(x) }
}

/// An atrium: elastance at rest and added by contraction, and what the ventricle below does
/// to it: its base draws the atrium longer as it empties, and the closed valve bulges back.
#[derive(Clone, Copy, Debug, Serialize)]
struct Atrium {
    emin: f64,
    eactive: f64,
    v0: f64,
    /// mL of atrium that open for each mL that the ventricle empties (tuned).
    draw: f64,
    /// Ventricular volume at which `v0` holds.
    drawn_from: f64,
    /// mL that the closed valve bulges for each mmHg (tuned).
    bulge: f64,
}

impl Atrium {
    fn pressure(
        &self,
        volume: f64,
        activation: f64,
        ventricle_ml: f64,
        ventricle_mmhg: f64,
    ) -> f64 {
        let unstressed =
            self.v0 + self.draw * (self.drawn_from - ventricle_ml) - self.bulge * ventricle_mmhg;
        (self.emin + self.eactive * activation) * (volume - unstressed)
    }
}

/// A valve: an orifice whose leaflets move with the pressure across it.
///
/// `Δp = ½ρ·q|q|/A² + ρ·l/A·dq/dt`, and leaflets that open in proportion to the pressure
/// across them and to how far they are from open: the equations of Mynard et al., Int J Numer
/// Methods Biomed Eng 2012;28:626 (from memory), with the rate bounded by `RATE_LIMIT`.
#[derive(Clone, Copy, Debug, Serialize)]
struct Valve {
    open: f64,
    leak: f64,
    length: f64,
    /// Opening and closing rate, 1/(s·mmHg) (tuned).
    opens: f64,
    closes: f64,
}

/// Leaflets move at most this fast, 1/s: a real leaflet's inertia; it also keeps the
/// equations from growing stiff.
const RATE_LIMIT: f64 = 400.0;
/// Below about this opening the leaflets slow down as they meet, so that none overshoots.
const LAST_PART: f64 = 0.25;
/// Orifice of a competent closed valve: none, but a division must stay finite. Lets pass
/// less than a thousandth of a mL a second.
const SEALED: f64 = 1e-6;

/// Jets are taken to be no faster than this, cm/s: twice what 200 mmHg can drive. It bounds how
/// suddenly the last drops stop when leaflets snap shut, and so keeps the equations tame.
const FASTEST: f64 = 1400.0;

impl Valve {
    fn area(&self, leaflet: f64) -> f64 {
        let leaflet = leaflet.clamp(0.0, 1.0);
        self.leak + (self.open - self.leak) * leaflet
    }

    /// How fast flow and leaflets change.
    fn change(&self, flow: f64, leaflet: f64, drop: f64) -> (f64, f64) {
        let area = self.area(leaflet);
        let velocity = (flow.abs() / area).min(FASTEST);
        let flow_rate = (area * drop * (1.0 / DENSITY) - 0.5 * flow * velocity) / self.length;
        let leaflet_rate = if drop > 0.0 {
            bounded(self.opens * drop) * (1.0 - leaflet)
        } else {
            bounded(self.closes * drop) * (1.0 + LAST_PART) * leaflet / (leaflet.abs() + LAST_PART)
        };
        (flow_rate, leaflet_rate)
    }
}

fn bounded(rate: f64) -> f64 {
    rate * RATE_LIMIT / (RATE_LIMIT + rate.abs())
}

/// How hard each chamber contracts at one instant (0 to 1), and the pressure around the heart.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub(crate) struct Drive {
    pub(crate) atria: f64,
    pub(crate) lv: f64,
    pub(crate) rv: f64,
    /// mmHg in the chest, against its mean.
    pub(crate) chest: f64,
}

/// All pressures at one instant, mmHg.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Pressures {
    /// By the index of each volume.
    pub(crate) of: [f64; VOLUMES],
}

/// A circulation with all its numbers worked out.
#[derive(Clone, Debug, Serialize)]
pub(crate) struct Circulation {
    lv: Ventricle,
    rv: Ventricle,
    la: Atrium,
    ra: Atrium,
    valves: [Valve; 4],
    /// 1/compliance and wall viscosity of each artery, by [`SEGMENTS`].
    elastance: [f64; PIECES],
    viscosity: [f64; PIECES],
    /// 1/resistance of the arterioles at each artery.
    conductance: [f64; PIECES],
    /// 1/inertance and resistance of each of [`LINKS`].
    link_mobility: [f64; LINKS.len()],
    link_resistance: [f64; LINKS.len()],
    vein_elastance: f64,
    vein_unstressed: f64,
    /// The volume that the states add up to, mL.
    pub(crate) moving_volume: f64,
}

impl Circulation {
    pub(crate) fn new(p: &Parameters) -> Self {
        let systemic = |s: &Segment| SEGMENTS[..SYSTEMIC].iter().any(|other| other.at == s.at);
        let compliance = |s: &Segment| {
            let scale = if systemic(s) { p.arterial_compliance } else { 1.0 };
            FILLING * scale * s.length_cm / (s.speed_cm_s * s.impedance)
        };
        let resistance = |s: &Segment| {
            if systemic(s) {
                SYSTEMIC_RESISTANCE * p.systemic_resistance
            } else {
                PULMONARY_RESISTANCE * p.pulmonary_resistance
            }
        };
        let inertance = |s: &Segment| s.impedance * s.length_cm / s.speed_cm_s;
        let viscosity_s =
            |s: &Segment| if at::ARM.contains(&s.at) { ARM_VISCOSITY_S } else { WALL_VISCOSITY_S };
        let segment =
            |at: usize| SEGMENTS.iter().find(|s| s.at == at).expect("each link joins segments");
        let valve = |open: f64, leak: f64, length, opens, closes| Valve {
            open: open.max(leak),
            leak: leak.max(SEALED),
            length,
            opens,
            closes,
        };
        let relaxed = (1.0 - 0.35 * (p.venous_tone - 1.0)).max(0.3);
        Self {
            lv: Ventricle {
                emax: 2.65 * p.lv_contractility,
                v0: 10.0,
                a: 0.95,
                k: 0.0195 * p.lv_stiffness,
                shortening: 0.0009,
            },
            rv: Ventricle {
                emax: 0.6 * p.rv_contractility,
                v0: 18.0,
                a: 0.75,
                k: 0.0145,
                shortening: 0.0008,
            },
            la: Atrium {
                emin: 0.21,
                eactive: 0.105 * p.atrial_contractility,
                v0: 14.0,
                draw: 0.16,
                drawn_from: 125.0,
                bulge: 0.05,
            },
            ra: Atrium {
                emin: 0.11,
                eactive: 0.12 * p.atrial_contractility,
                v0: 12.0,
                draw: 0.36,
                drawn_from: 140.0,
                bulge: 0.22,
            },
            valves: [
                valve(p.mitral_valve_area_cm2, p.mitral_leak_area_cm2, 2.0, 30.0, 5.7),
                valve(p.aortic_valve_area_cm2, p.aortic_leak_area_cm2, 2.0, 20.0, 5.0),
                valve(p.tricuspid_valve_area_cm2, p.tricuspid_leak_area_cm2, 2.0, 40.0, 12.0),
                valve(p.pulmonary_valve_area_cm2, p.pulmonary_leak_area_cm2, 2.0, 30.0, 10.0),
            ],
            elastance: SEGMENTS.each_ref().map(|s| 1.0 / compliance(s)),
            viscosity: SEGMENTS.each_ref().map(|s| viscosity_s(s) / compliance(s)),
            conductance: SEGMENTS.each_ref().map(|s| s.share / resistance(s)),
            link_mobility: LINKS.map(|(_, to)| 1.0 / inertance(segment(to))),
            // Wall friction in the large arteries: a tenth of the impedance (tuned).
            link_resistance: LINKS.map(|(_, to)| 0.1 * segment(to).impedance),
            vein_elastance: p.venous_tone / VEIN_COMPLIANCE,
            vein_unstressed: VEIN_UNSTRESSED * relaxed,
            moving_volume: BLOOD_VOLUME * p.blood_volume - STILL_VOLUME,
        }
    }

    /// The filling curves in `state`, by which those in states near it are found.
    pub(crate) fn filling(&self, state: &State) -> Filling {
        let volumes = [state[at::LV], state[at::RV]];
        Filling { volumes, values: [self.lv.filling(volumes[0]), self.rv.filling(volumes[1])] }
    }

    /// The pressures that belong to `state`.
    pub(crate) fn pressures(&self, state: &State, drive: &Drive) -> Pressures {
        self.pressures_near(&self.filling(state), state, drive)
    }

    #[inline(always)]
    fn pressures_near(&self, known: &Filling, state: &State, drive: &Drive) -> Pressures {
        let mut of = [0.0; VOLUMES];
        let (volumes, values) = (known.volumes, known.values);
        let filling = [
            self.lv.filling_near(state[at::LV], volumes[0], values[0]),
            self.rv.filling_near(state[at::RV], volumes[1], values[1]),
        ];
        let [into_aorta, into_lungs] = [AORTIC, PULMONARY].map(|v| state[at::VALVE_FLOWS + v]);
        let lv = self.lv.pressure(state[at::LV], filling[0], drive.lv, into_aorta);
        let rv = self.rv.pressure(state[at::RV], filling[1], drive.rv, into_lungs);
        of[at::LV] = lv + drive.chest;
        of[at::RV] = rv + drive.chest;
        of[at::LA] = self.la.pressure(state[at::LA], drive.atria, state[at::LV], lv) + drive.chest;
        of[at::RA] = self.ra.pressure(state[at::RA], drive.atria, state[at::RV], rv) + drive.chest;
        for (segment, elastance) in SEGMENTS.iter().zip(self.elastance) {
            of[segment.at] = elastance * state[segment.at];
        }
        of[at::ROOT] += drive.chest;
        of[at::THORACIC] += drive.chest;
        of[at::PA] += drive.chest;
        of[at::LUNGS] += drive.chest;
        of[at::VEINS] = self.vein_elastance * collapsing(state[at::VEINS] - self.vein_unstressed);
        of[at::PV] = state[at::PV] / PULMONARY_VEIN_COMPLIANCE + drive.chest;
        Pressures { of }
    }

    /// How fast each number of `state` changes. `pressures` are filled in with those that a
    /// catheter would show, the arterial walls' viscosity included.
    pub(crate) fn change(&self, state: &State, drive: &Drive) -> (State, Pressures) {
        self.change_near(&self.filling(state), state, drive)
    }

    /// As [`Circulation::change`], in a state near to one whose filling curves are known. Inlined, for
    /// the model's innermost loop takes a fifth less time where states stay where they are.
    #[inline(always)]
    pub(crate) fn change_near(
        &self,
        known: &Filling,
        state: &State,
        drive: &Drive,
    ) -> (State, Pressures) {
        let mut pressures = self.pressures_near(known, state, drive);
        let p = &mut pressures.of;
        let mut rate = [0.0; STATES];

        // Arterioles and veins pass blood in proportion to the pressure across them.
        for (index, (segment, conductance)) in SEGMENTS.iter().zip(self.conductance).enumerate() {
            let drain = if index < SYSTEMIC { at::VEINS } else { at::PV };
            let flow = conductance * (p[segment.at] - p[drain]);
            rate[segment.at] -= flow;
            rate[drain] += flow;
        }
        let mut pass = |from: usize, to: usize, conductance: f64| {
            let flow = conductance * (p[from] - p[to]);
            rate[from] -= flow;
            rate[to] += flow;
        };
        pass(at::VEINS, at::RA, 1.0 / VENOUS_RESISTANCE);
        pass(at::PV, at::LA, 1.0 / PULMONARY_VEIN_RESISTANCE);

        let mut carry = |from: usize, to: usize, flow: f64| {
            rate[from] -= flow;
            rate[to] += flow;
        };
        for (link, (from, to)) in LINKS.into_iter().enumerate() {
            carry(from, to, state[at::FLOWS + link]);
        }
        for (valve, (from, to)) in VALVES.into_iter().enumerate() {
            carry(from, to, state[at::VALVE_FLOWS + valve]);
        }

        for (segment, viscosity) in SEGMENTS.iter().zip(self.viscosity) {
            p[segment.at] += viscosity * rate[segment.at];
        }

        for (link, (from, to)) in LINKS.into_iter().enumerate() {
            let flow = state[at::FLOWS + link];
            let drop = p[from] - p[to] - self.link_resistance[link] * flow;
            rate[at::FLOWS + link] = self.link_mobility[link] * drop;
        }
        for (valve, (from, to)) in VALVES.into_iter().enumerate() {
            let (flow, leaflet) = (state[at::VALVE_FLOWS + valve], state[at::LEAFLETS + valve]);
            let (flow_rate, leaflet_rate) =
                self.valves[valve].change(flow, leaflet, p[from] - p[to]);
            rate[at::VALVE_FLOWS + valve] = flow_rate;
            rate[at::LEAFLETS + valve] = leaflet_rate;
        }
        (rate, pressures)
    }

    /// Effective area of `valve` in `state`, cm².
    pub(crate) fn valve_area(&self, valve: usize, state: &State) -> f64 {
        self.valves[valve].area(state[at::LEAFLETS + valve])
    }

    /// A circulation at rest with the blood spread as it roughly is in life: where the
    /// search for the steady state begins.
    pub(crate) fn start(&self) -> State {
        let mut state = [0.0; STATES];
        state[at::LA] = 60.0;
        state[at::LV] = 120.0;
        state[at::RA] = 60.0;
        state[at::RV] = 130.0;
        for (index, (segment, elastance)) in SEGMENTS.iter().zip(self.elastance).enumerate() {
            state[segment.at] = if index < SYSTEMIC { 85.0 } else { 12.0 } / elastance;
        }
        state[at::PV] = 8.5 * PULMONARY_VEIN_COMPLIANCE;
        let placed: f64 = state[..VOLUMES].iter().sum();
        state[at::VEINS] = self.moving_volume - placed;
        state
    }
}

/// `x` where a vein is full, falling smoothly towards nothing as it collapses.
fn collapsing(x: f64) -> f64 {
    0.5 * (x + (x * x + COLLAPSE_ML * COLLAPSE_ML).sqrt())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_filling_curve_is_found_from_a_point_near_or_far() {
        let ventricle = Circulation::new(&Parameters::default()).lv;
        for known in [20.0, 120.0, 280.0, 330.0] {
            for by in [-60.0, -1.0, -0.3, 0.0, 0.4, 1.0, 60.0] {
                let exact = ventricle.filling(known + by);
                let found = ventricle.filling_near(known + by, known, ventricle.filling(known));
                assert!((found / exact - 1.0).abs() < 2e-13, "{known} mL and {by} mL on");
            }
        }
    }
}
