"""Recomputes the answers of calculation questions from what their prompts print.

Reads lines of JSON with `kind`, `prompt`, `rounding`, `answer` and `unit` from standard input.
Knows nothing of the program: numbers are read from the prompt's words, the formulas are
written down again, and fractions are exact. Exits with 1 and says what is wrong where an
answer is not what the printed numbers lead to.

`recompute(kind, prompt)` also works on text taken from a page, with its line breaks.
"""

import json
import re
import sys
from decimal import Decimal
from fractions import Fraction

NUMBER = r"(\d+(?:\.\d+)?)"

# What must be found in a prompt, by kind: a name and the words around its number.
RATE = ("rate", NUMBER + r" beats/min\b")
RR_MS = ("rr", r"R peaks .*? are " + NUMBER + r" ms apart")
EDV = ("edv", r"holds " + NUMBER + r" mL at the end of diastole")
ESV = ("esv", r"and " + NUMBER + r" mL at the end of systole")
HIGH = ("high", r"rises to " + NUMBER + r" mmHg in systole")
LOW = ("low", r"falls to " + NUMBER + r" mmHg in diastole")
CYCLE = ("cycle", r"cycle lasts " + NUMBER + r" ms\b")
SYSTOLE = ("systole", r"takes " + NUMBER + r" ms of it")
OUTPUT = ("output", r"cardiac output is " + NUMBER + r" L/min\b")

# Per kind: what to read, the formula, the unit, and the decimals asked for (None: exact).
KINDS = {
    "rate_from_rr_ms": ([RR_MS], lambda rr: 60 / (rr / 1000), "beats/min", 0),
    "rate_from_rr_mm": (
        [("speed", r"drawn at " + NUMBER + r" mm/s"), ("gap", r"are " + NUMBER + r" mm apart")],
        lambda speed, gap: 60 / (gap / speed),
        "beats/min",
        0,
    ),
    "rate_from_squares": (
        [
            ("width", r"square is " + NUMBER + r" mm wide"),
            ("speed", r"At " + NUMBER + r" mm/s"),
            ("squares", r"are " + NUMBER + r" large squares apart"),
        ],
        lambda width, speed, squares: 60 / (squares * width / speed),
        "beats/min",
        0,
    ),
    "rate_by_counting": (
        [("length", r"lasts " + NUMBER + r" s\b"), ("peaks", r"shows " + NUMBER + r" R peaks")],
        lambda length, peaks: peaks / length * 60,
        "beats/min",
        None,
    ),
    "cycle_length_from_rate": ([RATE], lambda rate: 1000 * (60 / rate), "ms", 0),
    "diastole_duration": ([CYCLE, SYSTOLE], lambda cycle, systole: cycle - systole, "ms", None),
    "diastole_share": (
        [CYCLE, SYSTOLE],
        lambda cycle, systole: 100 * (1 - systole / cycle),
        "%",
        0,
    ),
    "pulse_pressure": ([HIGH, LOW], lambda high, low: high - low, "mmHg", None),
    "mean_pressure": ([HIGH, LOW], lambda high, low: (high + 2 * low) / 3, "mmHg", 0),
    "stroke_volume": ([EDV, ESV], lambda edv, esv: edv - esv, "mL", None),
    "ejection_fraction": ([EDV, ESV], lambda edv, esv: 100 * (1 - esv / edv), "%", 0),
    "esv_from_ef": (
        [EDV, ("ef", r"ejection fraction is " + NUMBER + r" %")],
        lambda edv, ef: edv - edv * ef / 100,
        "mL",
        0,
    ),
    "cardiac_output_from_sv": (
        [("sv", r"stroke volume is " + NUMBER + r" mL\b"), RATE],
        lambda sv, rate: sv / 1000 * rate,
        "L/min",
        1,
    ),
    "cardiac_output_from_volumes": (
        [EDV, ESV, RR_MS],
        lambda edv, esv, rr: (edv - esv) / 1000 * (60 / (rr / 1000)),
        "L/min",
        1,
    ),
    "stroke_volume_from_output": (
        [OUTPUT, RATE],
        lambda output, rate: output * 1000 / rate,
        "mL",
        0,
    ),
    "systemic_resistance": (
        [
            ("aortic", r"aortic pressure is " + NUMBER + r" mmHg"),
            ("right", r"right atrial pressure is " + NUMBER + r" mmHg"),
            OUTPUT,
        ],
        lambda aortic, right, output: (aortic - right) / output,
        "mmHg·min/L",
        1,
    ),
}


def ends_within(value, decimals):
    return (value * 10**decimals).denominator == 1


def rounded(value, decimals):
    """Half away from zero; all values here are positive."""
    return Fraction((value * 10**decimals + Fraction(1, 2)).__floor__(), 10**decimals)


def recompute(kind, prompt):
    """The answer that the prompt's numbers lead to, and its decimals.

    A result that lies just between two roundings is asked for with one decimal more.
    """
    if kind not in KINDS:
        raise ValueError(f"unknown kind {kind}")
    text = " ".join(prompt.split())
    wanted, formula, _, decimals = KINDS[kind]
    numbers = {}
    for name, pattern in wanted:
        found = re.findall(pattern, text)
        if len(found) != 1:
            raise ValueError(f"{kind}: {name} found {len(found)} times in: {text}")
        numbers[name] = Fraction(found[0])
    value = formula(**numbers)
    if decimals is None:
        if not ends_within(value, 0):
            raise ValueError(f"{kind}: {value} is not a whole number")
        return value, 0
    if not ends_within(value, decimals) and ends_within(2 * value, decimals):
        decimals += 1
    return rounded(value, decimals), decimals


def stated_decimals(rounding):
    """What the student is told, as decimals; None where nothing is to be rounded."""
    if rounding == "No rounding is needed.":
        return None
    for words, decimals in (("to a whole ", 0), ("to one decimal.", 1), ("to two decimals.", 2)):
        if words in rounding:
            return decimals
    raise ValueError(f"unknown way of rounding: {rounding}")


def fault(line):
    """What is wrong with one line of JSON, or None."""
    entry = json.loads(line, parse_float=Decimal)
    kind, prompt, printed = entry["kind"], entry["prompt"], Fraction(entry["answer"])
    try:
        value, decimals = recompute(kind, prompt)
        stated = stated_decimals(entry["rounding"])
    except ValueError as error:
        return str(error)
    if entry["unit"] != KINDS[kind][2]:
        return f"{kind}: unit {entry['unit']}, expected {KINDS[kind][2]}"
    if (stated or 0) != decimals or (stated is None) != (KINDS[kind][3] is None):
        return f"{kind}: {entry['rounding']} Expected {decimals} decimals for: {prompt}"
    if value != printed:
        return f"{kind}: printed {float(printed)}, expected {float(value)} from: {prompt}"
    return None


def main():
    faults = [found for line in sys.stdin if line.strip() for found in [fault(line)] if found]
    for found in faults:
        print(found)
    return 1 if faults else 0


if __name__ == "__main__":
    sys.exit(main())
