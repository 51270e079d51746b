"""Decodes the JPEG pictures of a PDF with OpenCV on a number of threads, and prints the seconds
and the peak of memory. Taking the file apart does not count."""

import sys
import time
from concurrent.futures import ThreadPoolExecutor

import cv2
import numpy as np
import pikepdf

cv2.setNumThreads(1)
with pikepdf.open(sys.argv[1]) as pdf:
    pictures = [page.images["/I"].read_raw_bytes() for page in pdf.pages]


def decoded(data):
    return cv2.imdecode(np.frombuffer(data, np.uint8), cv2.IMREAD_COLOR).shape


start = time.perf_counter()
with ThreadPoolExecutor(int(sys.argv[2])) as threads:
    shapes = list(threads.map(decoded, pictures))
seconds = time.perf_counter() - start
assert len(shapes) == len(pictures)
peak = "peak unknown"
try:
    with open("/proc/self/status", encoding="ascii") as status:
        kilobytes = next(int(line.split()[1]) for line in status if line.startswith("VmHWM"))
    peak = f"peak {kilobytes / 1000:.0f} MB"
except OSError:
    pass
print(f"{seconds:.2f} s, {peak}")
