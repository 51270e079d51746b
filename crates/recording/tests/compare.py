"""The same recordings through general-purpose libraries: wfdb's XQRS and neurokit2.

Reads a JSON list of {name, rate_hz, file (samples as 64-bit floats), kind} on standard input and
writes for each what was found, in seconds, and how long it took. `kind` is "ecg", "pulse",
"pressure" or "sounds". For pressures the foot is found by the slope sum function of Zong, Heldt, Moody and
Mark (Computers in Cardiology 2003:259-262), written here from its description: no library that a
registry carries has it.
"""

import contextlib
import io
import json
import sys
import time
import warnings

import numpy as np

warnings.filterwarnings("ignore")
with contextlib.redirect_stdout(io.StringIO()):
    import neurokit2 as nk
    from wfdb import processing


def timed(work):
    start = time.perf_counter()
    try:
        found = work()
    except Exception as error:  # what a library cannot do is told and not hidden
        return None, str(error), time.perf_counter() - start
    return found, "", time.perf_counter() - start


def xqrs(x, rate):
    detector = processing.XQRS(sig=x, fs=rate)
    detector.detect(verbose=False)
    return detector.qrs_inds


def nk_peaks(x, rate):
    clean = nk.ecg_clean(x, sampling_rate=rate)
    return nk.ecg_peaks(clean, sampling_rate=rate)[1]["ECG_R_Peaks"]


def nk_waves(x, rate):
    clean = nk.ecg_clean(x, sampling_rate=rate)
    peaks = nk.ecg_peaks(clean, sampling_rate=rate)[1]["ECG_R_Peaks"]
    waves = nk.ecg_delineate(clean, peaks, sampling_rate=rate, method="dwt")[1]
    names = {"ECG_P_Onsets": "p_onset", "ECG_P_Peaks": "p_peak", "ECG_P_Offsets": "p_end",
             "ECG_R_Onsets": "qrs_onset", "ECG_R_Offsets": "qrs_end",
             "ECG_T_Peaks": "t_peak", "ECG_T_Offsets": "t_end"}
    return {ours: np.asarray([v for v in waves[theirs] if v == v], float)
            for theirs, ours in names.items() if theirs in waves}


def slope_sum(x, rate):
    """Feet of pressure pulses: where the slope sum function first rises, near its threshold."""
    kernel = np.hanning(max(3, int(0.06 * rate) | 1))
    low = np.convolve(x, kernel / kernel.sum(), mode="same")
    width = max(1, int(0.128 * rate))
    ssf = np.convolve(np.maximum(np.diff(low, prepend=low[0]), 0), np.ones(width))[: len(x)]
    threshold = 3 * ssf[: int(10 * rate)].mean() * 0.6
    feet, at = [], width
    while at < len(x):
        if ssf[at] > threshold and ssf[at - 1] <= threshold:
            ahead = ssf[at: at + int(0.15 * rate)].max()
            start = at
            while start > 1 and ssf[start] > 0.01 * ahead:
                start -= 1
            feet.append(start)
            at += int(0.3 * rate)
        at += 1
    return np.asarray(feet)


def first_sounds(x, rate):
    """First heart sounds by the general biosignal library BioSPPy."""
    with contextlib.redirect_stdout(io.StringIO()):
        from biosppy.signals import pcg
    found = pcg.pcg(signal=x, sampling_rate=float(rate), show=False)
    return np.asarray(found["peaks"])[np.asarray(found["heart_sounds"]) == 1]


def main():
    answers = {}
    for one in json.load(sys.stdin):
        x, rate = np.fromfile(one["file"]), one["rate_hz"]
        ways = {"ecg": {"xqrs": xqrs, "neurokit2": nk_peaks, "neurokit2 waves": nk_waves},
                "pulse": {"neurokit2": lambda x, rate: nk.ppg_findpeaks(
                    nk.ppg_clean(x, sampling_rate=rate), sampling_rate=rate)["PPG_Peaks"]},
                "sounds": {"biosppy": first_sounds},
                "pressure": {"slope sum": slope_sum}}[one["kind"]]
        if one.get("only_r"):
            ways.pop("neurokit2 waves", None)
        answers[one["name"]] = {}
        for name, work in ways.items():
            with contextlib.redirect_stdout(io.StringIO()):
                found, error, seconds = timed(lambda: work(x, rate))
            if isinstance(found, dict):
                found = {wave: (places / rate).tolist() for wave, places in found.items()}
            elif found is not None:
                found = {"": (np.asarray(found, float) / rate).tolist()}
            answers[one["name"]][name] = {"found": found or {}, "error": error, "seconds": seconds}
    json.dump(answers, sys.stdout)


main()
