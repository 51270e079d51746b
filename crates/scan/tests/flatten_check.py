"""Finds the marks in pictures with OpenCV and fits a homography to their corners: for each
picture the root mean square left in millimetres, the worst centre's distance from the truth
where that is a homography, and the homography from millimetres to pixels, row by row. None
where not all marks are found."""

import json
import sys

import cv2
import numpy as np

with open(sys.argv[1], encoding="utf-8") as file:
    task = json.load(file)
places = {int(mark): np.array(at) for mark, at in task["marks"]}
half = task["side"] / 2
square = np.array([[-half, -half], [half, -half], [half, half], [-half, half]])


def mapped(matrix, points):
    return cv2.perspectiveTransform(np.array(points, float).reshape(-1, 1, 2), matrix)[:, 0]


def best(picture, truth):
    results = []
    for method in (cv2.aruco.CORNER_REFINE_SUBPIX, cv2.aruco.CORNER_REFINE_CONTOUR):
        parameters = cv2.aruco.DetectorParameters()
        parameters.cornerRefinementMethod = method
        family = cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_APRILTAG_36h11)
        corners, ids, _ = cv2.aruco.ArucoDetector(family, parameters).detectMarkers(picture)
        if ids is None or sorted(ids.ravel().tolist()) != sorted(places):
            continue
        # OpenCV's pixels have their centres at whole numbers.
        seen = {int(one): corner[0] + 0.5 for one, corner in zip(ids.ravel(), corners)}
        page = np.concatenate([places[one] + square for one in sorted(seen)])
        pixels = np.concatenate([seen[one] for one in sorted(seen)]).astype(float)
        fitted, _ = cv2.findHomography(page, pixels)
        back = mapped(np.linalg.inv(fitted), pixels)
        left = float(np.sqrt(np.mean(np.sum((back - page) ** 2, axis=1))))
        if truth is None:
            results.append([left, None, fitted.ravel().tolist()])
            continue
        inverse = np.linalg.inv(truth)
        inner = cv2.getPerspectiveTransform
        unit = square.astype(np.float32)
        centres = [
            mapped(inverse, mapped(inner(unit, seen[one].astype(np.float32)), [[0, 0]]))[0]
            - places[one]
            for one in sorted(seen)
        ]
        worst = float(max(np.linalg.norm(one) for one in centres))
        results.append([left, worst, fitted.ravel().tolist()])
    return min(results, key=lambda one: one[0]) if results else None


answers = []
for one in task["pictures"]:
    picture = cv2.imread(one["file"], cv2.IMREAD_GRAYSCALE)
    truth = np.array(one["map"]).reshape(3, 3) if "map" in one else None
    answers.append(best(picture, truth))
print(json.dumps(answers))
