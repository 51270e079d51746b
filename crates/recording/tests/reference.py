"""What general-purpose libraries read from recordings, and recordings that they write from a seed.

reference.py FOLDER DATA writes recordings into FOLDER, reads them and those in DATA, and leaves for each what
was read: a file of little-endian float64 for each signal, all listed in FOLDER/reference.json.
"""

import json
import os
import sys
import wave

import numpy
import pyedflib
import scipy.io.wavfile
import wfdb

folder, data = sys.argv[1:3]
random = numpy.random.default_rng(20)
cases = []


def case(name, path, library, signals, annotations=None):
    """signals: label, unit, rate, values; annotations: time, duration, text, subtype, channel, number."""
    told = []
    for index, (label, unit, rate, values) in enumerate(signals):
        kept = f"{name}.{index}.f64"
        numpy.asarray(values, "<f8").tofile(os.path.join(folder, kept))
        told.append({"label": label, "unit": unit, "rate_hz": float(rate), "values": kept})
    cases.append({"name": name, "path": path, "library": library, "signals": told, "annotations": annotations})


def waves(count, low, high):
    """Whole numbers that use the range and move as signals do."""
    steps = numpy.cumsum(random.normal(0, (high - low) / 40, count))
    return numpy.clip(numpy.round(steps + random.integers(low, high + 1, count) * 0.05), low, high).astype(int)


def wfdb_case(name, path, channels=None, annotator=None):
    # Read as stored and moved here: the library (4.3) stops at skewed signals read to their end.
    record = wfdb.rdrecord(path, channels=channels, smooth_frames=False, ignore_skew=True)
    values = record.e_p_signal
    for i, lag in enumerate(record.skew or []):
        if lag:
            lag *= record.samps_per_frame[i]
            values[i] = numpy.concatenate([values[i][lag:], numpy.full(lag, numpy.nan)])
    signals = [
        (record.sig_name[i], record.units[i], record.fs * record.samps_per_frame[i], values[i])
        for i in range(record.n_sig)
    ]
    annotations = None
    if annotator:
        # Times in samples, divided as the header says: some versions of the library divide otherwise.
        read = wfdb.rdann(path, annotator)
        annotations = [
            [int(read.sample[i]) / record.fs, 0.0,
             read.symbol[i] + (" " + read.aux_note[i].strip("\0").strip() if read.aux_note[i].strip("\0").strip() else ""),
             int(read.subtype[i]), int(read.chan[i]), int(read.num[i])]
            for i in range(len(read.sample))
        ]
    case(name, path + ".hea", "wfdb", signals, annotations)


def edf_case(name, path):
    with pyedflib.EdfReader(path) as reader:
        signals = [
            (reader.getLabel(i), reader.getPhysicalDimension(i), reader.getSampleFrequency(i), reader.readSignal(i))
            for i in range(reader.signals_in_file)
        ]
        onsets, durations, texts = reader.readAnnotations()
        annotations = [
            [float(onset), max(float(duration), 0.0), str(text), 0, 0, 0]
            for onset, duration, text in zip(onsets, durations, texts)
        ]
    case(name, path, "pyedflib", signals, annotations)


def write_edf(name, kind, seconds, annotation_signals=1):
    path = os.path.join(folder, name + ".edf")
    forms = [("ECG", "mV", 256, -5.0, 5.0, -32768, 32767), ("ABP", "mmHg", 100, 300.0, -20.0, -2048, 2047),
             ("Temp", "degC", 1, 30.0, 45.0, 0, 4095)]
    with pyedflib.EdfWriter(path, len(forms), file_type=kind) as writer:
        writer.setSignalHeaders([
            {"label": label, "dimension": unit, "sample_frequency": rate, "physical_min": low, "physical_max": high,
             "digital_min": least, "digital_max": most, "transducer": "", "prefilter": ""}
            for label, unit, rate, low, high, least, most in forms
        ])
        if kind == pyedflib.FILETYPE_EDFPLUS:
            writer.set_number_of_annotation_signals(annotation_signals)
            writer.setPatientName("Somebody")
            for index in range(40):
                text = ["exercise", "Pause, dann weiter", "übrig", "x" * 30][index % 4]
                writer.writeAnnotation(float(random.integers(0, seconds * 100)) / 100, [-1, 0.25, 2][index % 3], text)
        writer.writeSamples([waves(rate * seconds, least, most).astype(numpy.int32)
                             for _, _, rate, _, _, least, most in forms], digital=True)
    edf_case(name, path)


def write_wfdb(name, fmt, bits):
    low, high = -(1 << (bits - 1)) + 1, (1 << (bits - 1)) - 1
    frames = 1001
    digital = [waves(frames, low, high) for _ in range(3)]
    # Invalid samples: the least value of all.
    for one in digital:
        one[[5, 6, len(one) - 1]] = low - 1
    record = wfdb.Record(
        record_name=name, n_sig=3, fs=250, sig_len=frames, file_name=[name + ".dat"] * 3, fmt=[fmt] * 3,
        samps_per_frame=[1] * 3, skew=[None] * 3, byte_offset=[None] * 3, adc_gain=[200.0, 16.5, 1.0],
        baseline=[0, -7, 3], units=["mV", "mmHg", "NU"], adc_res=[bits] * 3, adc_zero=[0, 0, 1],
        init_value=[int(one[0]) for one in digital], block_size=[0] * 3, sig_name=["II", "ABP line", "Pleth"],
    )
    record.d_signal = numpy.stack(digital, axis=1)
    record.checksum = record.calc_checksum()
    record.wrsamp(write_dir=folder)
    annotator = None
    if fmt in ("16", "212"):
        annotator = "atr"
        samples = numpy.unique(numpy.concatenate([random.integers(0, 900, 60), [1, 100_000, 5_000_000]]))
        count = len(samples)
        wfdb.wrann(
            name, annotator, samples, symbol=[["N", "V", "+", '"'][i % 4] for i in range(count)],
            subtype=numpy.arange(count) % 5 - 2, chan=numpy.arange(count) % 3, num=numpy.arange(count) % 4,
            aux_note=[["", "", "(N", "a longer note"][i % 4] for i in range(count)],
            fs=250 if fmt == "16" else None, write_dir=folder,
        )
    wfdb_case(name, os.path.join(folder, name), annotator=annotator)


def packed(fmt, values):
    """Samples as the format stores them, for what the library reads and does not write."""
    values = [int(value) for value in values]
    if fmt in ("16", "61"):
        return numpy.array(values, "<i2" if fmt == "16" else ">i2").tobytes()
    if fmt == "160":
        return (numpy.array(values) + 32768).astype("<u2").tobytes()
    out = bytearray()
    group = 2 if fmt == "212" else 3
    values += [0] * (-len(values) % group)
    for at in range(0, len(values), group):
        bits = [value & (0xfff if fmt == "212" else 0x3ff) for value in values[at:at + group]]
        if fmt == "212":
            out += bytes([bits[0] & 0xff, bits[0] >> 8 | bits[1] >> 8 << 4, bits[1] & 0xff])
        elif fmt == "310":
            first = bits[0] << 1 | (bits[2] & 0x1f) << 11
            second = bits[1] << 1 | bits[2] >> 5 << 11
            out += first.to_bytes(2, "little") + second.to_bytes(2, "little")
        else:
            out += (bits[0] | bits[1] << 10 | bits[2] << 20).to_bytes(4, "little")
    return bytes(out)


def write_packed(name, fmt, bits, per_frame=(1, 1, 1), skew=(0, 0, 0), offset=0):
    """A record whose files are written here; the library reads it."""
    low, high = -(1 << (bits - 1)) + 1, (1 << (bits - 1)) - 1
    frames = 1001
    signals = [waves(frames * count, low, high) for count in per_frame]
    for one in signals:
        one[[5, 6]] = low - 1
    frame = [one.reshape(frames, count) for one, count in zip(signals, per_frame)]
    with open(os.path.join(folder, name + ".dat"), "wb") as out:
        out.write(bytes(offset) + packed(fmt, numpy.concatenate(frame, axis=1).ravel()))
    lines = [f"{name} 3 360 {frames}"]
    for index, (unit, gain) in enumerate([("mV", "200"), ("mmHg", "16.5(-7)"), ("NU", "-12(3)")]):
        form = fmt + (f"x{per_frame[index]}" if per_frame[index] > 1 else "")
        form += (f":{skew[index]}" if skew[index] else "") + (f"+{offset}" if offset else "")
        total = int(signals[index].sum()) & 0xffff
        total -= 0x10000 if total > 0x7fff else 0
        lines.append(f"{name}.dat {form} {gain}/{unit} {bits} 0 {signals[index][0]} {total} 0 lead {index}")
    with open(os.path.join(folder, name + ".hea"), "w") as out:
        out.write("\n".join(lines) + "\n")
    wfdb_case(name, os.path.join(folder, name))


def write_segments(name):
    """Variable layout: signals that come and go, and a gap."""
    parts = [(300, ["II", "ABP"]), (200, None), (250, ["ABP"]), (401, ["II", "V", "ABP"])]
    lines, at = [f"{name}_layout 0"], 0
    for index, (frames, labels) in enumerate(parts):
        lines.append(f"{name}_{index + 1} {frames}" if labels else f"~ {frames}")
        at += frames
        if not labels:
            continue
        signals = [waves(frames, -2047, 2047) for _ in labels]
        with open(os.path.join(folder, f"{name}_{index + 1}.dat"), "wb") as out:
            out.write(packed("212", numpy.stack(signals, axis=1).ravel()))
        with open(os.path.join(folder, f"{name}_{index + 1}.hea"), "w") as out:
            told = [f"{name}_{index + 1} {len(labels)} 125 {frames}"]
            told += [f"{name}_{index + 1}.dat 212 {100 + index}/mV 12 0 0 0 0 {label}" for label in labels]
            out.write("\n".join(told) + "\n")
    with open(os.path.join(folder, f"{name}_layout.hea"), "w") as out:
        told = [f"{name}_layout 3 125 0"] + [f"~ 0 200/mV 0 0 0 0 0 {label}" for label in ("II", "V", "ABP")]
        out.write("\n".join(told) + "\n")
    with open(os.path.join(folder, name + ".hea"), "w") as out:
        out.write("\n".join([f"{name}/{len(lines)} 3 125 {at}"] + lines) + "\n")
    record = wfdb.rdrecord(os.path.join(folder, name), m2s=True)
    case(name, os.path.join(folder, name + ".hea"), "wfdb",
         [(record.sig_name[i], record.units[i], record.fs, record.p_signal[:, i]) for i in range(record.n_sig)])


def wav_case(name, path):
    rate, values = scipy.io.wavfile.read(path)
    if values.ndim == 1:
        values = values[:, None]
    # Shares of full scale. SciPy puts 24 bits into the upper part of 32.
    scale = {"uint8": (128, 128), "int16": (0, 32768), "int32": (0, 2**31)}.get(str(values.dtype), (0, 1))
    values = (values.astype(float) - scale[0]) / scale[1]
    count = values.shape[1]
    labels = ["sound"] if count == 1 else [f"sound {i + 1}" for i in range(count)]
    case(name, path, "scipy", [(labels[i], "relative", rate, values[:, i]) for i in range(count)])


def write_wav(name, kind, channels):
    path = os.path.join(folder, name + ".wav")
    count = 4321
    if kind == "24":
        with wave.open(path, "wb") as writer:
            writer.setnchannels(channels)
            writer.setsampwidth(3)
            writer.setframerate(2000)
            values = waves(count * channels, -(1 << 23), (1 << 23) - 1)
            writer.writeframes(b"".join(int(value).to_bytes(3, "little", signed=True) for value in values))
    else:
        if kind.startswith("float"):
            values = random.normal(0, 0.3, (count, channels)).astype(kind)
        else:
            limits = numpy.iinfo(kind)
            values = random.integers(limits.min, limits.max, (count, channels), dtype=kind, endpoint=True)
        scipy.io.wavfile.write(path, 4000, values if channels > 1 else values[:, 0])
    wav_case(name, path)


write_edf("plain", pyedflib.FILETYPE_EDF, 7)
write_edf("plus", pyedflib.FILETYPE_EDFPLUS, 61)
write_edf("several", pyedflib.FILETYPE_EDFPLUS, 23, annotation_signals=3)
for fmt, bits in [("16", 16), ("24", 24), ("32", 32), ("80", 8), ("212", 12), ("508", 8), ("516", 16), ("524", 24)]:
    write_wfdb("fmt" + fmt, fmt, bits)
for fmt, bits in [("61", 16), ("160", 16), ("212", 12), ("310", 10), ("311", 10)]:
    write_packed("packed" + fmt, fmt, bits)
    write_packed("rates" + fmt, fmt, bits, per_frame=(4, 1, 2))
write_packed("skewed", "16", 16, skew=(0, 3, 1))
write_packed("after", "16", 16, offset=24)
write_packed("both", "212", 12, per_frame=(2, 1, 1), offset=9)
write_segments("variable")
for kind in ["uint8", "int16", "24", "int32", "float32", "float64"]:
    for channels in (1, 3):
        write_wav(f"{kind}x{channels}", kind, channels)

if os.path.isdir(data):
    wfdb_case("100", os.path.join(data, "100"), annotator="atr")
    # Only the first of its two signal files is there.
    wfdb_case("s0010_re", os.path.join(data, "s0010_re"), channels=list(range(12)))
    wfdb_case("mixedsignals", os.path.join(data, "mixedsignals"))
    wfdb_case("041s", os.path.join(data, "041s", "041s"))
    for name in ("heart_sounds_1", "heart_sounds_2"):
        wav_case(name, os.path.join(data, name + ".wav"))
    for name, label in (("biosppy_ecg", "ECG"), ("biosppy_pcg", "PCG"), ("biosppy_ppg", "PPG")):
        path = os.path.join(data, name + ".txt")
        case(name, path, "numpy", [(label, "", 1000, numpy.loadtxt(path))])
    path = os.path.join(data, "scipy_ecg_360hz.csv")
    table = numpy.loadtxt(path, delimiter=",", skiprows=1)
    case("scipy_ecg", path, "numpy", [("ecg", "mV", 360, table[:, 1])])

with open(os.path.join(folder, "reference.json"), "w") as out:
    json.dump(cases, out)
