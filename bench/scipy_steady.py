"""The steady state of a heart by SciPy, to set this project's time beside.

`benches/integrators.rs` starts this file, names the folder of `scipy_check.py`, where the
equations are, gives a heart as JSON on standard input and reads the times from standard
output. Only whole beats are timed; the rate is a plain Python function, as anyone would
write it, and takes most of the time.
"""

import json
import sys
import time

import numpy as np
from scipy.integrate import solve_ivp

sys.path.insert(0, sys.argv[1])
from scipy_check import Equations, worst_rate  # noqa: E402  (its folder is known only now)

# From loose to tight; the first that is as accurate as the heart's own integrator is used.
TOLERANCES = (1e-3, 1e-4, 1e-5, 1e-6, 1e-7, 1e-8)
VOLUMES = 15

# Times mean nothing unless both sides solve the same equations.
SAME_EQUATIONS = 1e-9


class Heart:
    """A heart to be solved by different methods, and the trajectory they are held against."""

    def __init__(self, given):
        self.equations = Equations(given["constants"])
        self.period_s = given["period_s"]
        self.reference = np.array(given["reference"])
        self.times_s = np.linspace(0.0, self.period_s, len(self.reference))
        self.reference_mmhg = self.pressures(self.reference)

    def pressures(self, states):
        return np.array([self.equations.pressures(*at) for at in zip(self.times_s, states)])

    def error(self, states):
        """Largest error anywhere over the beat, of a volume in mL and a pressure in mmHg."""
        states = np.asarray(states)
        volumes = np.abs(states - self.reference)[:, :VOLUMES]
        pressures = np.abs(self.pressures(states) - self.reference_mmhg)
        return {"ml": float(volumes.max()), "mmhg": float(pressures.max())}

    def beat(self, state, method, tolerance, times_s=None):
        solved = solve_ivp(
            self.equations.rate,
            (0.0, self.period_s),
            state,
            method=method,
            t_eval=times_s,
            rtol=tolerance,
            atol=tolerance,
        )
        if not solved.success:
            sys.exit(f"{method} at {tolerance:g} gave up: {solved.message}")
        return solved

    def accurate(self, method, wanted_mmhg):
        """The loosest tolerance that is accurate enough, or the tightest, and its error."""
        for tolerance in TOLERANCES:
            solved = self.beat(self.reference[0], method, tolerance, self.times_s)
            error = self.error(solved.y.T)
            if error["mmhg"] <= wanted_mmhg:
                break
        return tolerance, error

    def one_beat(self, method, tolerance):
        """The shortest of three times for a beat, and how often it needed the rate."""
        spent = []
        for _ in range(3):
            began = time.perf_counter()
            solved = self.beat(self.reference[0], method, tolerance)
            spent.append(time.perf_counter() - began)
        return min(spent), solved.nfev

    def steady(self, method, tolerance, start, change_wanted, budget_s):
        """Beat after beat until the state no longer changes, or the time is used up."""
        began = time.perf_counter()
        state, beats, change = np.array(start), 0, np.inf
        while change >= change_wanted and time.perf_counter() - began < budget_s:
            after = self.beat(state, method, tolerance).y[:, -1]
            change = float(np.abs(after - state).max())
            state, beats = after, beats + 1
        return {"s": time.perf_counter() - began, "beats": beats, "change": change}


def main():
    given = json.load(sys.stdin)
    heart = Heart(given)
    worst = worst_rate(heart.equations, given["samples"])
    if not worst["relative"] <= SAME_EQUATIONS:
        sys.exit(f"the equations in scipy_check.py are not the heart's: {worst}")
    errors = {name: heart.error(states) for name, states in given["trajectories"].items()}
    methods = []
    for method in ("LSODA", "RK45"):
        tolerance, error = heart.accurate(method, errors[given["ours"]]["mmhg"])
        beat_s, evaluations = heart.one_beat(method, tolerance)
        steady = heart.steady(
            method, tolerance, given["start"], given["change"], given["budget_s"]
        )
        methods.append(
            {
                "method": method,
                "tolerance": tolerance,
                "error": error,
                "beat_s": beat_s,
                "evaluations": evaluations,
                "steady": steady,
            }
        )
    json.dump({"errors": errors, "methods": methods}, sys.stdout)


if __name__ == "__main__":
    main()
