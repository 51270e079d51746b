"""A second opinion on the heart's integrator, by SciPy.

The equations are written out here once more, from their description and not from the
program, so that a slip in either shows as a difference. `scipy.rs` starts this file, gives
it hearts as JSON on standard input and reads what it found from standard output.
"""

import json
import sys
from concurrent.futures import ProcessPoolExecutor
from math import cos, exp, pi, sin, sqrt

import numpy as np
from scipy.integrate import solve_ivp

# A state: 15 volumes in mL, 7 arterial flows and 4 valve flows in mL/s, 4 leaflet openings.
VOLUMES = (
    "LA LV RA RV ROOT THORACIC ABDOMINAL LEGS ARM1 ARM2 ARM3 VEINS PA LUNGS PV"
).split()
LA, LV, RA, RV, ROOT, THORACIC, ABDOMINAL, LEGS, ARM1, ARM2, ARM3, VEINS, PA, LUNGS, PV = range(15)
FLOWS = 15
VALVE_FLOWS = 22
LEAFLETS = 26
STATES = 30
AORTIC, PULMONARY = 1, 3

# What is not among the constants that come in: the topology, and numbers no parameter changes.
# Were one of them to change in the program alone, the rates would no longer agree.
SEGMENTS = (ROOT, THORACIC, ABDOMINAL, LEGS, ARM1, ARM2, ARM3, PA, LUNGS)
SYSTEMIC = 7
LINKS = (
    (ROOT, THORACIC),
    (THORACIC, ABDOMINAL),
    (ABDOMINAL, LEGS),
    (ROOT, ARM1),
    (ARM1, ARM2),
    (ARM2, ARM3),
    (PA, LUNGS),
)
VALVES = ((LA, LV), (LV, ROOT), (RA, RV), (RV, PA))
IN_CHEST = (ROOT, THORACIC, PA, LUNGS, PV, LA, LV, RA, RV)
VENOUS_RESISTANCE = 0.035
PULMONARY_VEIN_RESISTANCE = 0.010
PULMONARY_VEIN_COMPLIANCE = 16.0
COLLAPSE_ML = 120.0
DENSITY = 1.06 / 1333.22
RATE_LIMIT = 400.0
LAST_PART = 0.25
FASTEST = 1400.0
KNEE_S = 0.008


def contraction(since_s, course):
    """How hard a ventricle contracts, 0 to 1, `since_s` after its contraction began."""
    hill = (since_s / course["rise_s"]) ** course["steepness"]
    fall = (1.0 + exp((since_s - course["fall_s"]) / KNEE_S)) ** (-KNEE_S / course["tau_s"])
    return course["scale"] * hill / (1.0 + hill) * fall


def strongest(contractions, time_s):
    """The strongest of a ventricle's contractions that have begun and are not yet over."""
    return max(
        (
            contraction(time_s - onset, course)
            for onset, course in contractions
            if 0.0 < time_s - onset <= course["fall_s"] + 14.0 * course["tau_s"]
        ),
        default=0.0,
    )


def atrial(since_s, length_s):
    """How hard the atria contract: one hump of a cosine."""
    if not 0.0 <= since_s < length_s:
        return 0.0
    return 0.5 * (1.0 - cos(2.0 * pi * since_s / length_s))


def filling(x):
    """exp(x), from 6 on its chord of slope exp(6) through exp(6) at 6."""
    return exp(x) if x <= 6.0 else exp(6.0) * (x - 5.0)


def ventricular(chamber, volume, activation, outflow):
    above = volume - chamber["v0"]
    active = chamber["emax"] * above * (1.0 - chamber["shortening"] * outflow)
    passive = chamber["a"] * (filling(chamber["k"] * above) - 1.0)
    return activation * active + (1.0 - activation) * passive


def auricular(chamber, volume, activation, ventricle_ml, ventricle_mmhg):
    drawn = chamber["draw"] * (chamber["drawn_from"] - ventricle_ml)
    unstressed = chamber["v0"] + drawn - chamber["bulge"] * ventricle_mmhg
    return (chamber["emin"] + chamber["eactive"] * activation) * (volume - unstressed)


class Equations:
    """The right-hand side for one heart's constants."""

    def __init__(self, constants):
        self.circulation = constants["circulation"]
        self.drives = constants["drives"]

    def drive(self, time_s):
        """Activation of atria, left and right ventricle, and the chest's pressure."""
        drives = self.drives
        atria = max(
            (atrial(time_s - onset, drives["atrial_length_s"]) for onset in drives["atria"]),
            default=0.0,
        )
        chest = 0.0
        if drives["breath_s"] is not None:
            chest = -0.5 * drives["depth_mmhg"] * sin(2.0 * pi * time_s / drives["breath_s"])
        return atria, strongest(drives["lv"], time_s), strongest(drives["rv"], time_s), chest

    def rate_and_pressures(self, time_s, state):
        """Change of each number of the state per second, and the 15 pressures in mmHg."""
        c = self.circulation
        # Plain numbers are several times faster one by one than an array's.
        y = np.asarray(state).tolist()
        atria, left, right, chest = self.drive(time_s)

        p = [0.0] * 15
        p[LV] = ventricular(c["lv"], y[LV], left, y[VALVE_FLOWS + AORTIC])
        p[RV] = ventricular(c["rv"], y[RV], right, y[VALVE_FLOWS + PULMONARY])
        p[LA] = auricular(c["la"], y[LA], atria, y[LV], p[LV])
        p[RA] = auricular(c["ra"], y[RA], atria, y[RV], p[RV])
        for segment, elastance in zip(SEGMENTS, c["elastance"]):
            p[segment] = elastance * y[segment]
        full = y[VEINS] - c["vein_unstressed"]
        p[VEINS] = c["vein_elastance"] * 0.5 * (full + sqrt(full * full + COLLAPSE_ML**2))
        p[PV] = y[PV] / PULMONARY_VEIN_COMPLIANCE
        for place in IN_CHEST:
            p[place] += chest

        # Every flow leaves one volume for another.
        rate = [0.0] * STATES
        flows = []
        for index, (segment, conductance) in enumerate(zip(SEGMENTS, c["conductance"])):
            drain = VEINS if index < SYSTEMIC else PV
            flows.append((segment, drain, conductance * (p[segment] - p[drain])))
        flows.append((VEINS, RA, (p[VEINS] - p[RA]) / VENOUS_RESISTANCE))
        flows.append((PV, LA, (p[PV] - p[LA]) / PULMONARY_VEIN_RESISTANCE))
        flows.extend((a, b, y[FLOWS + link]) for link, (a, b) in enumerate(LINKS))
        flows.extend((a, b, y[VALVE_FLOWS + valve]) for valve, (a, b) in enumerate(VALVES))
        for source, target, flow in flows:
            rate[source] -= flow
            rate[target] += flow

        # An artery's wall resists being stretched: its pressure leads its volume.
        for segment, viscosity in zip(SEGMENTS, c["viscosity"]):
            p[segment] += viscosity * rate[segment]

        for link, (a, b) in enumerate(LINKS):
            friction = c["link_resistance"][link] * y[FLOWS + link]
            rate[FLOWS + link] = c["link_mobility"][link] * (p[a] - p[b] - friction)
        for number, (valve, (a, b)) in enumerate(zip(c["valves"], VALVES)):
            flow, leaflet, drop = y[VALVE_FLOWS + number], y[LEAFLETS + number], p[a] - p[b]
            open_part = min(max(leaflet, 0.0), 1.0)
            area = valve["leak"] + (valve["open"] - valve["leak"]) * open_part
            # Bernoulli's loss in a jet of bounded velocity, and the inertia of a plug of blood.
            velocity = flow / area
            loss = 0.5 * DENSITY * velocity * min(abs(velocity), FASTEST)
            rate[VALVE_FLOWS + number] = (drop - loss) * area / (DENSITY * valve["length"])
            wish = (valve["opens"] if drop > 0.0 else valve["closes"]) * drop
            speed = wish / (1.0 + abs(wish) / RATE_LIMIT)
            if drop > 0.0:
                share = 1.0 - leaflet
            else:
                share = (1.0 + LAST_PART) * leaflet / (abs(leaflet) + LAST_PART)
            rate[LEAFLETS + number] = speed * share
        return rate, p

    def rate(self, time_s, state):
        return self.rate_and_pressures(time_s, state)[0]

    def pressures(self, time_s, state):
        return self.rate_and_pressures(time_s, state)[1]


def worst_rate(equations, samples):
    """The largest disagreement between rates, relative to the rate (or to 1 if that is less)."""
    worst = {"relative": 0.0, "number": 0, "time_s": 0.0, "ours": 0.0, "theirs": 0.0}
    for sample in samples:
        here = equations.rate(sample["time_s"], sample["state"])
        for number, (ours, theirs) in enumerate(zip(here, sample["rate"])):
            relative = abs(ours - theirs) / max(1.0, abs(theirs))
            # Written so that a rate that is no number counts as the worst.
            if not relative <= worst["relative"]:
                worst = {
                    "relative": relative,
                    "number": number,
                    "time_s": sample["time_s"],
                    "ours": ours,
                    "theirs": theirs,
                }
    return worst


def furthest(times_s, ours, theirs):
    """The largest of some differences, and where and when it is."""
    differences = np.abs(np.asarray(ours) - np.asarray(theirs))
    step, place = np.unravel_index(np.argmax(differences), differences.shape)
    return {
        "by": float(differences[step, place]),
        "place": VOLUMES[place],
        "time_s": float(times_s[step]),
    }


def check(heart):
    equations = Equations(heart["constants"])
    found = {"rate": worst_rate(equations, heart["samples"])}
    if "states" not in heart:
        return found
    theirs = np.array(heart["states"])
    times_s = np.linspace(0.0, heart["period_s"], len(theirs))
    # The step is bounded so that no valve's or contraction's sudden beginning is stepped over.
    solved = solve_ivp(
        equations.rate,
        (0.0, heart["period_s"]),
        theirs[0],
        method="DOP853",
        t_eval=times_s,
        rtol=1e-10,
        atol=1e-10,
        max_step=0.001,
    )
    if not solved.success:
        raise RuntimeError(f"SciPy gave up: {solved.message}")
    ours = solved.y.T

    def pressures(states):
        return [equations.pressures(t, state) for t, state in zip(times_s, states)]

    mine = pressures(ours)
    found["pressure"] = furthest(times_s, mine, pressures(theirs))
    found["volume"] = furthest(times_s, ours[:, :15], theirs[:, :15])
    ends = times_s[-1:]
    found["pressure_return"] = furthest(ends, mine[-1:], mine[:1])
    found["volume_return"] = furthest(ends, ours[-1:, :15], ours[:1, :15])
    return found


if __name__ == "__main__":
    with ProcessPoolExecutor() as pool:
        json.dump(list(pool.map(check, json.load(sys.stdin))), sys.stdout)
