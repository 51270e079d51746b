"""Measures printed sheets with outside tools: Poppler rasterises, NumPy measures, OpenCV finds the marks and
ZXing reads the codes.

Argument: a folder with drawing-sheets.pdf and geometry.json. Prints JSON with the largest
distances from geometry.json in millimetres, the codes that were read, and what an outside
library finds in the PDF's structure.
"""

import json
import pathlib
import subprocess
import sys

import cv2
import numpy as np
import pikepdf
import zxingcpp

DPI = 600
PX = DPI / 25.4

folder = pathlib.Path(sys.argv[1])
geometry = json.loads((folder / "geometry.json").read_text(encoding="utf-8"))
pdf = folder / "drawing-sheets.pdf"


def raster(page):
    out = subprocess.run(
        ["pdftoppm", "-r", str(DPI), "-gray", "-f", str(page), "-l", str(page), str(pdf)],
        check=True,
        capture_output=True,
    ).stdout
    fields = out.split(maxsplit=4)
    width, height = int(fields[1]), int(fields[2])
    return np.frombuffer(out[-width * height :], dtype=np.uint8).reshape(height, width)


def crop(image, x, y, half):
    """The pixels within `half` mm of a place, and the place of the first, in mm."""
    left, top = max(0, round((x - half) * PX)), max(0, round((y - half) * PX))
    right, bottom = round((x + half) * PX), round((y + half) * PX)
    return image[top:bottom, left:right].astype(float), left / PX, top / PX


def mark_centre(image, x, y):
    """Centre of the black square around a mark, from where its sides turn dark."""
    part, left, top = crop(image, x, y, 6.5)
    dark = part < 128
    columns, rows = np.flatnonzero(dark.any(axis=0)), np.flatnonzero(dark.any(axis=1))
    return (
        left + (columns[0] + columns[-1] + 1) / 2 / PX,
        top + (rows[0] + rows[-1] + 1) / 2 / PX,
    )


def line_at(image, panel, side):
    """Place of a frame's side, as the centroid of its ink within half a millimetre."""
    x, y, w, h = (panel[k] for k in ("x_mm", "y_mm", "width_mm", "height_mm"))
    expected = {"left": x, "right": x + w, "top": y, "bottom": y + h}[side]
    upright = side in ("left", "right")
    # A stretch without ticks, traces or lines: between 5 mm grid lines from a corner.
    along = (y + 0.6, y + 4.2) if upright else (x + 0.6, x + 4.2)
    a, b = round((expected - 0.5) * PX), round((expected + 0.5) * PX)
    c, d = round(along[0] * PX), round(along[1] * PX)
    part = image[c:d, a:b] if upright else image[a:b, c:d].T
    ink = 255 - np.median(part.astype(float), axis=0)
    places = (np.arange(a, b) + 0.5) / PX
    return float((ink * places).sum() / ink.sum()) - expected


def bar_at(image, bar):
    """Largest distance of a row's line from the middle and the ends of its row.

    The line is seen where nothing is drawn on it; ends that a printed box covers are left out.
    """
    x, y, w, h = (bar[k] for k in ("x_mm", "y_mm", "width_mm", "height_mm"))
    row = y + h / 2
    a, b = round((row - 0.5) * PX), round((row + 0.5) * PX)
    left, right = round((x - 2) * PX), round((x + w + 2) * PX)
    upper, lower = (round((row + side) * PX) for side in (-1, 1))
    clear = (image[upper, left:right] > 250) & (image[lower, left:right] > 250)
    ink = 255.0 - image[a:b, left:right]
    places = (np.arange(a, b) + 0.5) / PX
    down = ink[:, clear].sum(axis=1)
    off = [abs(float((down * places).sum() / down.sum()) - row)]
    dark = np.flatnonzero(ink.max(axis=0) > 60)
    ends = {x: (left + dark[0]) / PX, x + w: (left + dark[-1] + 1) / PX}
    for expected, found in ends.items():
        near = round((expected - left / PX) * PX)
        if clear[near - 20 : near + 20].all():
            off.append(abs(found - expected))
    return max(off), len(off) - 1


marks = lines = bars = 0.0
ends = 0
codes = []
dictionary = cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_APRILTAG_36h11)
finder = cv2.aruco.ArucoDetector(dictionary)
found_after = 0
for number, page in enumerate(geometry["pages"], start=1):
    image = raster(number)
    for mark in geometry["marks"]:
        cx, cy = mark_centre(image, mark["x_mm"], mark["y_mm"])
        marks = max(marks, abs(cx - mark["x_mm"]), abs(cy - mark["y_mm"]))
    for panel in page["panels"]:
        for side in ("left", "right", "top", "bottom"):
            lines = max(lines, abs(line_at(image, panel, side)))
    for bar in page.get("bars", []):
        off, seen = bar_at(image, bar)
        bars, ends = max(bars, off), ends + seen
    # As from a bad copier: 150 dpi, blurred, askew, compressed.
    small = cv2.resize(image, None, fx=0.25, fy=0.25, interpolation=cv2.INTER_AREA)
    height, width = small.shape
    turn = cv2.getRotationMatrix2D((width / 2, height / 2), 5, 0.92)
    askew = cv2.warpAffine(small, turn, (width, height), borderValue=255)
    blurred = cv2.GaussianBlur(askew, (0, 0), 0.9)
    _, jpeg = cv2.imencode(".jpg", blurred, [cv2.IMWRITE_JPEG_QUALITY, 40])
    bad = cv2.imdecode(jpeg, cv2.IMREAD_GRAYSCALE)
    _, ids, _ = finder.detectMarkers(bad)
    found_after += ids is not None and sorted(ids.flatten().tolist()) == [0, 1, 2, 3]
    read = zxingcpp.read_barcodes(bad)
    codes.append(read[0].text if read else "")

with pikepdf.open(pdf) as document:
    root = document.Root
    fonts = set()
    for page in document.pages:
        for font in page.Resources.get("/Font", {}).values():
            inner = font.DescendantFonts[0] if "/DescendantFonts" in font else font
            descriptor = inner.FontDescriptor
            fonts.add(any(k in descriptor for k in ("/FontFile", "/FontFile2", "/FontFile3")))
    alts = []

    def walk(node):
        if isinstance(node, pikepdf.Array):
            for child in node:
                walk(child)
        elif isinstance(node, pikepdf.Dictionary):
            if node.get("/S") == "/Figure":
                alts.append(str(node.get("/Alt", "")))
            if "/K" in node:
                walk(node.K)

    walk(root.StructTreeRoot)
    structure = {
        "tagged": bool(root.MarkInfo.Marked),
        "language": str(root.Lang),
        "title": str(document.docinfo.get("/Title", "")),
        "pdf_ua_part": str(document.open_metadata().get("pdfuaid:part", "")),
        "outline": len(document.open_outline().root),
        "fonts_embedded": fonts == {True},
        "figures": len(alts),
        "figures_without_words": sum(not alt for alt in alts),
        "pages": len(document.pages),
    }

found = {
    "marks_mm": marks,
    "lines_mm": lines,
    "bars_mm": bars,
    "bar_ends": ends,
    "codes": codes,
    "found_after": found_after,
    "structure": structure,
}
print(json.dumps(found))
