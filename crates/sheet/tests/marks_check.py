"""A second opinion on the corner marks and the sheet code, by OpenCV and zxing-cpp.

`marks.rs` starts this file and gives it a page as JSON on standard input: boxes to fill with
black, in millimetres. The page is drawn here once more from those boxes alone, spoiled as
copiers and telephones spoil pages, and read with decoders that share nothing with the
program. What was found goes to standard output as JSON.

A place on the page in millimetres and its place in an image are related by a homography that
is known exactly, since the image was made with it. That is the measure of every error.
"""

import json
import sys
from concurrent.futures import ProcessPoolExecutor
from itertools import product
from math import radians

import cv2
import numpy as np
import zxingcpp

FAMILY = cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_APRILTAG_36h11)
MM = 1 / 25.4
# Blur is applied at this resolution, fine enough for what is then taken from it.
FINE = 300
BLUR_MM = 0.15


def to_pixels(dpi):
    """Millimetres to pixels, whose centres have whole numbers."""
    return np.array([[dpi * MM, 0, -0.5], [0, dpi * MM, -0.5], [0, 0, 1.0]])


def moved(x, y):
    return np.array([[1, 0, x], [0, 1, y], [0, 0, 1.0]])


def mapped(homography, points):
    points = np.asarray(points, float).reshape(-1, 2)
    found = np.column_stack([points, np.ones(len(points))]) @ homography.T
    return found[:, :2] / found[:, 2:]


def drawn(page, dpi):
    """The page with every pixel as black as the part of it that boxes cover."""
    columns, rows = (round(side * dpi * MM) for side in page["size"])
    black = np.zeros((rows, columns), np.float32)

    def covered(start, length, count):
        first, last = start * dpi * MM, (start + length) * dpi * MM
        low, high = int(first), min(int(last) + 1, count)
        pixels = np.arange(low, high)
        part = np.minimum(pixels + 1, last) - np.maximum(pixels, first)
        return slice(low, high), np.clip(part, 0, 1).astype(np.float32)

    for x, y, w, h in page["boxes"]:
        across, part_across = covered(x, w, columns)
        down, part_down = covered(y, h, rows)
        box = black[down, across]
        np.maximum(box, np.outer(part_down, part_across), out=box)
    return np.round(255 * (1 - black)).astype(np.uint8)


def with_work(paper, page, random):
    """A grey grid and pencil all over the middle of the sheet, as there will be."""
    paper = paper.copy()
    scale = FINE * MM
    left, top, right, bottom = (round(side * scale) for side in page["work"])
    for x in np.arange(left, right, 5 * scale):
        cv2.line(paper, (round(x), top), (round(x), bottom), 190, 2)
    for y in np.arange(top, bottom, 5 * scale):
        cv2.line(paper, (left, round(y)), (right, round(y)), 190, 2)
    for _ in range(40):
        points = random.uniform((left, top), (right, bottom), (1, 2)) + np.cumsum(
            random.normal(0, 6 * scale, (30, 2)), axis=0
        )
        points = np.clip(points, (left, top), (right, bottom)).round().astype(np.int32)
        grey, width = int(random.integers(40, 140)), int(random.integers(3, 12))
        cv2.polylines(paper, [points], False, grey, width, cv2.LINE_AA)
    return paper


def blurred(image, dpi, sigma_mm):
    return cv2.GaussianBlur(image, (0, 0), sigma_mm * dpi * MM)


def jpeg(image, quality=40):
    _, data = cv2.imencode(".jpg", image, [cv2.IMWRITE_JPEG_QUALITY, quality])
    return cv2.imdecode(data, cv2.IMREAD_GRAYSCALE)


def noisy(image, random, deviation):
    image = image.astype(np.float32) + random.normal(0, deviation, image.shape)
    return np.clip(image, 0, 255).astype(np.uint8)


def paler(image, random):
    """Contrast lost at both ends: black is at most 100 of 255, paper at least 170."""
    black, white = random.uniform(30, 100), random.uniform(170, 245)
    return black + image.astype(np.float32) * (white - black) / 255


def copier_place(page, random, dpi, turned):
    """Millimetres to pixels of a scan that is skewed and stretched, but not in perspective."""
    w, h = page["size"]
    angle = random.uniform(-5, 5) + (180 if turned else 0)
    turn = np.vstack([cv2.getRotationMatrix2D((0, 0), angle, 1), [0, 0, 1]])
    stretch = np.diag([*random.uniform(0.985, 1.015, 2), 1.0])
    shift = moved(*random.uniform(-2, 2, 2))
    # The glass is larger than the paper, so that a skewed corner stays on it.
    middle = moved(w / 2 + 10, h / 2 + 10)
    return to_pixels(dpi) @ middle @ shift @ stretch @ turn @ moved(-w / 2, -h / 2)


def scanned(page, paper, random, turned=False, dpi=150):
    place = copier_place(page, random, dpi, turned)
    size = tuple(round((side + 20) * dpi * MM) for side in page["size"])
    fine = blurred(paper, FINE, BLUR_MM)
    source = place @ np.linalg.inv(to_pixels(FINE))
    image = cv2.warpPerspective(fine, source, size, flags=cv2.INTER_LINEAR, borderValue=235)
    return jpeg(noisy(paler(image, random), random, 4)), place


def second_copy(page, paper, random):
    """A copy of a copy, with lines grown or eaten away and greys driven to black or white."""
    worn = blurred(paper, FINE, 0.2)
    level, gain = random.uniform(90, 165), random.uniform(3, 8)
    worn = np.clip((worn.astype(np.float32) - level) * gain + 128, 0, 255).astype(np.uint8)
    specks = random.random(worn.shape, np.float32) < 2e-5
    worn[cv2.dilate(specks.astype(np.uint8), np.ones((5, 5))) > 0] = 0
    return scanned(page, worn, random)


def photographed(page, paper, random, pixels=2000):
    """Held by hand over a dark, structured table, with a shadow; `pixels` on the long side."""
    w, h = page["size"]
    tilt = [radians(one) for one in random.uniform(-22, 22, 2)]
    about = radians(random.uniform(-25, 25) + random.choice([0, 90, 180, 270]))
    rotation = cv2.Rodrigues(np.array([0, 0, about]))[0]
    rotation = cv2.Rodrigues(np.array([tilt[0], tilt[1], 0.0]))[0] @ rotation
    distance = random.uniform(350, 500)
    camera = np.column_stack([rotation[:, 0], rotation[:, 1], [0, 0, distance]])
    seen = camera @ moved(-w / 2, -h / 2)
    corners = mapped(seen, [(0, 0), (w, 0), (w, h), (0, h)])
    low, high = corners.min(0), corners.max(0)
    margin = 0.04 * (high - low).max()
    scale = pixels / ((high - low).max() + 2 * margin)
    size = tuple(int(side) for side in np.ceil((high - low + 2 * margin) * scale))
    place = np.diag([scale, scale, 1.0]) @ moved(*(margin - low)) @ seen

    source = place @ np.linalg.inv(to_pixels(FINE))
    # Fine lines are averaged away before pixels are taken, as a lens does.
    finest = pixels / max(w, h)
    fine = blurred(paper, FINE, max(BLUR_MM, 0.45 / finest))
    image = cv2.warpPerspective(fine, source, size, flags=cv2.INTER_LINEAR)
    inside = cv2.warpPerspective(np.full_like(paper, 255), source, size)
    table = cv2.resize(random.uniform(40, 130, (40, 40)).astype(np.float32), size)
    image = np.where(inside > 127, paler(image, random), table)
    y, x = np.mgrid[0 : size[1], 0 : size[0]].astype(np.float32)
    slope = random.uniform(-0.25, 0.25, 2)
    light = 0.85 + slope[0] * (x / size[0] - 0.5) + slope[1] * (y / size[1] - 0.5)
    edge = random.uniform(0.2, 0.8) * size[0] + random.uniform(-0.5, 0.5) * y
    shadow = 1 - random.uniform(0, 0.45) / (1 + np.exp(-(x - edge) / (0.02 * size[0])))
    image = blurred(image * light * shadow, 25.4, random.uniform(0.3, 0.9))
    return jpeg(noisy(image, random, 5)), place


def cut(page, image, place, corner):
    """The image without the page's corner `corner`, which is folded or torn off."""
    mark = np.array(page["marks"][corner]["centre"])
    inward = np.sign(np.array(page["size"]) / 2 - mark)
    outer = mark - inward * 40
    triangle = [outer, mark + inward * (55, -40), mark + inward * (-40, 55)]
    image = image.copy()
    cv2.fillPoly(image, [mapped(place, triangle).round().astype(np.int32)], 60)
    return image


def marks_in(image):
    settings = cv2.aruco.DetectorParameters()
    # Lines through each side's whole outline: nearer the truth than what looks around a corner.
    settings.cornerRefinementMethod = cv2.aruco.CORNER_REFINE_CONTOUR
    corners, ids, _ = cv2.aruco.ArucoDetector(FAMILY, settings).detectMarkers(image)
    ids = [] if ids is None else [int(one) for one in ids.flatten()]
    return sorted(zip(ids, [one.reshape(4, 2) for one in corners]), key=lambda one: one[0])


def crossing(corners):
    """Where the diagonals cross: the centre, in perspective too."""
    a, b, c, d = np.column_stack([corners, np.ones(4)])
    found = np.cross(np.cross(a, c), np.cross(b, d))
    return found[:2] / found[2]


def judged(page, image, place, missing=None):
    found = marks_in(image)
    texts = {one.text for one in zxingcpp.read_barcodes(image, zxingcpp.BarcodeFormat.QRCode)}
    result = {
        "marks": [one for one, _ in found] == [i for i in range(4) if i != missing],
        "code": texts == {page["code"]},
        "code_opencv": cv2.QRCodeDetector().detectAndDecode(image)[0] == page["code"],
    }
    known = [(page["marks"][one], corners) for one, corners in found if one < 4]
    if not result["marks"]:
        return result
    back = np.linalg.inv(place)
    centres = np.array([mark["centre"] for mark, _ in known])
    seen = np.array([crossing(corners) for _, corners in known])
    result["centre_mm"] = float(np.linalg.norm(mapped(back, seen) - centres, axis=1).max())

    # The page flattened by what was found, against the page as it is.
    half = page["mark_size"] / 2
    square = np.array([(-half, -half), (half, -half), (half, half), (-half, half)])
    flat = np.concatenate([centre + square for centre in centres])
    corners = np.concatenate([corners for _, corners in known])
    (left, top), (right, bottom) = (page["marks"][i]["centre"] for i in (0, 2))
    grid = list(product(np.linspace(left, right, 9), np.linspace(top, bottom, 9)))
    truth = mapped(place, grid)

    def page_error(page_points, image_points):
        fitted, _ = cv2.findHomography(image_points, page_points)
        return float(np.linalg.norm(mapped(fitted, truth) - grid, axis=1).max())

    result["page_mm"] = page_error(flat, corners)
    if len(known) == 4:
        result["page_by_centres_mm"] = page_error(centres, seen)
    else:
        # What a flat-bed scan needs: fewer numbers, so that three marks settle them firmly.
        seen_from = np.column_stack([corners, np.ones(len(corners))])
        fitted = np.linalg.lstsq(seen_from, flat, rcond=None)[0]
        flattened = np.column_stack([truth, np.ones(len(truth))]) @ fitted
        result["page_affine_mm"] = float(np.linalg.norm(flattened - grid, axis=1).max())
    return result


KINDS = ["scan", "scan upside down", "scan, corner gone", "second copy"]
KINDS += ["photo", "photo, corner gone", "small photo"]


def sample(task):
    page, paper, kind, number = task
    random = np.random.default_rng([KINDS.index(kind), number])
    paper = with_work(paper, page, random)
    missing = int(random.integers(4)) if "corner gone" in kind else None
    if kind == "second copy":
        image, place = second_copy(page, paper, random)
    elif kind == "small photo":
        image, place = photographed(page, paper, random, 1200)
    elif "photo" in kind:
        image, place = photographed(page, paper, random)
    else:
        image, place = scanned(page, paper, random, turned="upside down" in kind)
    if missing is not None:
        image = cut(page, image, place, missing)
    return judged(page, image, place, missing)


def gathered(results):
    found = {"samples": len(results)}
    for what in ("marks", "code", "code_opencv"):
        found[what] = sum(one[what] for one in results)
    for what in ("centre_mm", "page_mm", "page_by_centres_mm", "page_affine_mm"):
        values = [one[what] for one in results if what in one]
        if values:
            found[what] = {"median": float(np.median(values)), "worst": max(values)}
    return found


def main():
    # Forked processes and OpenCV's own threads do not go together.
    cv2.setNumThreads(1)
    page = json.load(sys.stdin)
    wrong = [
        mark["id"]
        for mark in page["marks"]
        if ((FAMILY.generateImageMarker(mark["id"], 8) == 0) != np.array(mark["black"])).any()
    ]
    kinds = {}

    clean = drawn(page, 600)
    place = to_pixels(600)
    turned = moved(clean.shape[1] - 1, clean.shape[0] - 1) @ np.diag([-1, -1, 1.0]) @ place
    kinds["clean"] = gathered(
        [judged(page, clean, place), judged(page, cv2.rotate(clean, cv2.ROTATE_180), turned)]
    )
    paper = drawn(page, FINE)
    tasks = [(page, paper, kind, i) for kind in KINDS for i in range(page["samples"])]
    with ProcessPoolExecutor() as pool:
        results = list(pool.map(sample, tasks, chunksize=5))
    for at, kind in enumerate(KINDS):
        kinds[kind] = gathered(results[at * page["samples"] :][: page["samples"]])
    json.dump({"not as OpenCV draws them": wrong, "kinds": kinds}, sys.stdout)


if __name__ == "__main__":
    main()
