"""Checks everything that `incisura sheet` wrote into a folder with outside tools: pikepdf reads the structure and
the drawing operators of every PDF, Poppler its text and its picture, NumPy measures strips.

Argument: the folder. Prints JSON with what was found and counted, and under `faults` what is
wrong, with the file's name.
"""

import importlib.util
import json
import pathlib
import re
import subprocess
import sys
from collections import Counter
from fractions import Fraction
from xml.etree import ElementTree

import cv2
import numpy as np
import pikepdf

PAINTS = {"f", "F", "f*", "B", "B*", "b", "b*", "S", "s", "sh", "Do", "INLINE IMAGE", "Tj", "TJ", "'", '"'}
PATHS = {"m", "l", "c", "v", "y", "re"}

folder = pathlib.Path(sys.argv[1])
faults = []


def poppler(*words):
    done = subprocess.run(words, check=True, capture_output=True)
    return done.stdout


# What is drawn: the content stream of a page, by marked content.


class Content:
    """What one stretch of marked content draws, in points from the page's top left corner."""

    def __init__(self):
        self.lines = []  # of text: left, right, baseline, size
        self.points = []

    def box(self):
        """Left, top, right, bottom; of the text where there is some."""
        if self.lines and not self.picture():
            return (
                min(line[0] for line in self.lines),
                min(line[2] - 0.8 * line[3] for line in self.lines),
                max(line[1] for line in self.lines),
                max(line[2] + 0.2 * line[3] for line in self.lines),
            )
        across, down = zip(*self.points)
        return min(across), min(down), max(across), max(down)

    def reach(self):
        """Left, top, right, bottom of all that is drawn."""
        across = [x for line in self.lines for x in line[:2]] + [x for x, _ in self.points]
        down = [line[2] for line in self.lines] + [y for _, y in self.points]
        return min(across, default=0), min(down, default=0), max(across, default=0), max(down, default=0)

    def picture(self):
        return len(self.points) > 20


def widths(font):
    inner, table = font.DescendantFonts[0], {}
    wide = list(inner.W)
    while wide:
        first, second = int(wide.pop(0)), wide.pop(0)
        if isinstance(second, pikepdf.Array):
            table.update({first + index: float(width) for index, width in enumerate(second)})
        else:
            width = float(wide.pop(0))
            table.update({code: width for code in range(first, int(second) + 1)})
    return table, float(inner.get("/DW", 1000))


def times(a, b):
    """The matrix that applies `a` and then `b`."""
    return (
        a[0] * b[0] + a[1] * b[2],
        a[0] * b[1] + a[1] * b[3],
        a[2] * b[0] + a[3] * b[2],
        a[2] * b[1] + a[3] * b[3],
        a[4] * b[0] + a[5] * b[2] + b[4],
        a[4] * b[1] + a[5] * b[3] + b[5],
    )


def drawn(page, name):
    """The contents by MCID, and what the artifacts draw."""
    fonts = {key: widths(font) for key, font in page.Resources.get("/Font", {}).items()}
    height = float(page.MediaBox[3])
    marked, artifact = {}, Content()
    ctm, saved, open_marks = (1, 0, 0, 1, 0, 0), [], []
    font, size, text = None, 0.0, None
    for operands, operator in pikepdf.parse_content_stream(page):
        op = str(operator)
        if op in ("BDC", "BMC"):
            kind = str(operands[0])
            if kind == "/Artifact":
                into = artifact
            elif op == "BDC" and isinstance(operands[1], pikepdf.Dictionary) and "/MCID" in operands[1]:
                number = int(operands[1].MCID)
                if number in marked:
                    faults.append(f"{name}: MCID {number} twice on a page")
                into = marked.setdefault(number, Content())
            else:
                into = None
            if open_marks and into is not None:
                faults.append(f"{name}: marked content within marked content")
            open_marks.append(into)
        elif op == "EMC":
            open_marks.pop()
        elif op == "q":
            saved.append(ctm)
        elif op == "Q":
            ctm = saved.pop()
        elif op == "cm":
            ctm = times(tuple(map(float, operands)), ctm)
        elif op == "Tf":
            font, size = str(operands[0]), float(operands[1])
        elif op == "Tm":
            text = tuple(map(float, operands))
        into = next((mark for mark in reversed(open_marks) if mark is not None), None)
        if op in PAINTS and into is None:
            faults.append(f"{name}: {op} outside marked content")
            into = Content()
        if op in ("TJ", "Tj"):
            table, other = fonts[font]
            advance = 0.0
            for part in operands[0] if op == "TJ" else operands:
                if isinstance(part, pikepdf.String):
                    codes = bytes(part)
                    pairs = [codes[i] << 8 | codes[i + 1] for i in range(0, len(codes), 2)]
                    advance += sum(table.get(code, other) for code in pairs)
                else:
                    advance -= float(part)
            place = times(text, ctm)
            left, baseline = place[4], height - place[5]
            into.lines.append((left, left + advance * size / 1000, baseline, size))
        elif op in PATHS:
            numbers = list(map(float, operands))
            if op == "re":
                x, y, w, h = numbers
                numbers = [x, y, x + w, y + h]
            a, b, c, d, e, f = ctm
            if into is not None:
                pairs = zip(numbers[::2], numbers[1::2])
                into.points.extend((a * x + c * y + e, height - b * x - d * y - f) for x, y in pairs)
    if open_marks or saved:
        faults.append(f"{name}: marked content or graphics state is not closed")
    width = float(page.MediaBox[2])
    for content in (*marked.values(), artifact):
        left, top, right, bottom = content.reach()
        if left < 0 or top < 0 or right > width or bottom > height:
            reach = [round(side) for side in (left, top, right, bottom)]
            faults.append(f"{name}: draws within {reach} on a page of {width:.0f} by {height:.0f}")
    return marked, artifact


# The structure tree.


class Element:
    def __init__(self, node, page):
        self.node, self.page = node, node.get("/Pg", page)
        self.role = str(node.S)[1:]
        self.children, self.mcids = [], []
        kids = node.get("/K", [])
        for kid in kids if isinstance(kids, pikepdf.Array) else [kids]:
            if isinstance(kid, int):
                self.mcids.append((self.page.objgen, kid))
            elif str(kid.get("/Type", "")) == "/MCR":
                self.mcids.append((kid.get("/Pg", self.page).objgen, int(kid.MCID)))
            else:
                self.children.append(Element(kid, self.page))
        self.words = []

    def all(self):
        yield self
        for child in self.children:
            yield from child.all()


def said(pdf):
    """The text of the structure's parts, in logical order, one for each that has content."""
    # Titles of headings come as they are in the file, which is not always UTF-8.
    text = poppler("pdfinfo", "-struct-text", str(pdf)).decode(errors="replace")
    parts = re.findall(r'^ +"(.*?)"$(?=\n(?: |$)|\Z)', text, flags=re.M | re.S)
    return parts


def check_tables_and_lists(root, name, counts):
    for element in root.all():
        roles = [child.role for child in element.children]
        if element.role == "Table":
            counts["tables"] += 1
            rows = [[cell.role for cell in row.children] for row in element.children]
            if set(roles) != {"TR"} or len(rows) < 2 or len({len(row) for row in rows}) != 1:
                faults.append(f"{name}: a table of rows {[len(row) for row in rows]}")
            if set(rows[0]) != {"TH"} or any(set(row) != {"TD"} for row in rows[1:]):
                faults.append(f"{name}: a table is not headed by its first row alone")
            for cell in element.children[0].children:
                if str(cell.node.A[0].get("/Scope", "")) != "/Column":
                    faults.append(f"{name}: a head without its scope")
        if element.role == "L":
            counts["lists"] += 1
            if not roles or set(roles) != {"LI"}:
                faults.append(f"{name}: a list of {roles}")
        if element.role == "LI" and roles != ["Lbl", "LBody"]:
            faults.append(f"{name}: a list item of {roles}")
        if element.role == "Figure":
            counts["figures"] += 1
            if not str(element.node.get("/Alt", "")).strip():
                faults.append(f"{name}: a figure without words")


def check_headings(root, name, pages, counts):
    """The pages that begin with a heading of level 1; one picture alone needs none."""
    level, headed = 0, []
    for element in root.all():
        if not re.fullmatch(r"H\d", element.role):
            continue
        counts["headings"] += 1
        here = int(element.role[1])
        if here > level + 1:
            faults.append(f"{name}: heading of level {here} after level {level}")
        level = here
        if here == 1:
            headed.append(element.page.objgen)
    for page in pages:
        on_page = [one for one in root.children if any(m[0] == page for e in one.all() for m in e.mcids)]
        if [one.role for one in on_page] == ["Figure"]:
            counts["picture_pages"] += 1
        elif page in headed and on_page[0].role != "H1":
            faults.append(f"{name}: a page with a title does not begin with it")
    alone = counts["picture_pages"] == len(pages)
    if not alone and root.children[0].role != "H1":
        faults.append(f"{name}: begins with {root.children[0].role}")
    return pages if alone else headed


def check_outline(document, name, title, titled, titles):
    entries = list(document.open_outline().root)
    places = []
    for entry in entries:
        target = entry.destination or (entry.action and entry.action.D)
        places.append(target[0].objgen)
    if places != titled:
        faults.append(f"{name}: {len(entries)} outline entries for {len(titled)} titled pages")
    for entry, heading in zip(entries, titles):
        fits = entry.title == title if len(document.pages) == 1 else entry.title.startswith(heading)
        if not fits:
            faults.append(f"{name}: the outline says {entry.title} for {heading}")
    return len(entries)


def check_head(document, name):
    root = document.Root
    title = str(document.docinfo.get("/Title", ""))
    metadata = document.open_metadata()
    found = {
        "tagged": bool(root.MarkInfo.Marked) is True,
        "language": str(root.get("/Lang", "")) == "en",
        "title": bool(title) and metadata.get("dc:title") == title,
        "title shown": bool(root.ViewerPreferences.DisplayDocTitle) is True,
        "PDF/UA": str(metadata.get("pdfuaid:part")) == "1",
    }
    for page in document.pages:
        for font in page.Resources.get("/Font", {}).values():
            descriptor = font.DescendantFonts[0].FontDescriptor
            if not {"/FontFile2", "/FontFile3"} & set(descriptor.keys()):
                found["a font"] = False
            if "/ToUnicode" not in font:
                found["the letters of a font"] = False
    faults.extend(f"{name}: {what} is missing" for what, right in found.items() if not right)
    return title


def check_mcids(document, root, contents, name):
    parents = {}
    numbers = list(document.Root.StructTreeRoot.ParentTree.Nums)
    for key, value in zip(numbers[::2], numbers[1::2]):
        parents[int(key)] = value
    placed = Counter(mcid for element in root.all() for mcid in element.mcids)
    for mcid, count in placed.items():
        if count != 1:
            faults.append(f"{name}: MCID {mcid} stands {count} times in the structure")
    owner = {mcid: element.node.objgen for element in root.all() for mcid in element.mcids}
    for page in document.pages:
        listed = parents[int(page.StructParents)]
        drawn_here = contents[page.objgen][0]
        if sorted(drawn_here) != list(range(len(listed))):
            faults.append(f"{name}: the parent tree lists {len(listed)} of {len(drawn_here)} MCIDs")
            continue
        for number, parent in enumerate(listed):
            if owner.get((page.objgen, number)) != parent.objgen:
                faults.append(f"{name}: MCID {number} has another parent in the parent tree")
    if len(placed) != sum(len(marked) for marked, _ in contents.values()):
        faults.append(f"{name}: structure and pages have not the same MCIDs")
    return len(placed)


# What is read: words by the structure and words by their place.


def words_by_place(pdf):
    """For each page the words with their centres, in points from the top left corner."""
    text = poppler("pdftotext", "-bbox", str(pdf), "-").decode()
    tree = ElementTree.fromstring(re.sub(r'<!DOCTYPE.*?>| xmlns="[^"]*"', "", text, flags=re.S))
    pages = []
    for page in tree.iter("page"):
        found = []
        for word in page.iter("word"):
            box = [float(word.get(key)) for key in ("xMin", "xMax", "yMin", "yMax")]
            found.append(((box[0] + box[1]) / 2, (box[2] + box[3]) / 2, word.text))
        pages.append(found)
    return pages


def on_line(line, x, y, around):
    left, right, baseline, size = line
    across = left - 0.5 - around <= x <= right + 0.5 + around
    return across and baseline - 0.8 * size <= y <= baseline + 0.2 * size


def words_in(content, words):
    """The words that stand in a content, line by line and from left to right."""
    found = []
    # Poppler takes labels of a figure that are close to one another for one word.
    around = 10 if content.picture() else 0
    for x, y, word in words:
        lines = [line for line in content.lines if on_line(line, x, y, around)]
        if lines:
            nearest = min(lines, key=lambda line: abs(line[2] - 0.3 * line[3] - y))
            found.append((round(nearest[2], 1), x, word))
    return [word for _, _, word in sorted(found)]


def check_words(pdf, document, root, contents, name):
    """The words of each part in logical order are those that stand in its place."""
    leaves = [element for element in root.all() if element.mcids]
    parts = said(pdf)
    if len(parts) != len(leaves):
        faults.append(f"{name}: Poppler reads {len(parts)} parts of {len(leaves)}")
        return 0
    by_page = dict(zip((page.objgen for page in document.pages), words_by_place(pdf)))
    compared, placed = 0, Counter()
    for element, part in zip(leaves, parts):
        if len(element.mcids) != 1:
            faults.append(f"{name}: a part of {len(element.mcids)} pieces")
        page, number = element.mcids[0]
        element.content = contents[page][0][number]
        element.text = part
        here = words_in(element.content, by_page[page])
        placed[page] += len(here)
        if element.role == "Figure":
            # Words of a figure have no order; they are read as its alternative text.
            same = Counter("".join(part.split())) == Counter("".join(here))
        else:
            same = part.split() == here
            compared += len(here)
        if not same:
            faults.append(f"{name}: {element.role} reads “{part}” and shows “{' '.join(here)}”")
    for page, words in by_page.items():
        footer = len(words_in(contents[page][1], words))
        if placed[page] + footer != len(words):
            faults.append(f"{name}: {len(words)} words on a page, {placed[page]} and {footer} in parts")
    return compared


def check_order(root, name):
    """Each part begins below the last, or right of it in its row; lists may go on in a column."""
    leaves = [element for element in root.all() if element.mcids]
    label = None
    for before, after in zip(leaves, leaves[1:]):
        if before.page.objgen != after.page.objgen:
            label = None
            continue
        a, b = before.content.box(), after.content.box()
        # A row's cells begin on one line, and a number stands on the line of what it numbers.
        beside = abs(a[1] - b[1]) < 1.0 and b[0] > a[0]
        if after.role == "LBody" and not after.text:
            beside = b[0] > a[0]
        column = after.role == "Lbl" and label is not None and b[0] > label + 100
        if after.role == "Lbl":
            label = b[0]
        if not beside and not column and b[1] < a[3] - 1.5:
            texts = f"“{after.text[:40]}” is read after “{before.text[:40]}”"
            faults.append(f"{name}: {texts} and stands above its end")
    for row in (element for element in root.all() if element.role == "TR"):
        cells = [cell for cell in row.children if cell.mcids]
        tops = [cell.content.box()[1] for cell in cells]
        if max(tops) - min(tops) > 0.1:
            faults.append(f"{name}: the cells of a row begin at {tops}")
    for table in (element for element in root.all() if element.role == "Table"):
        rows = [[cell.content.box() for cell in row.children if cell.mcids] for row in table.children]
        for above, below in zip(rows, rows[1:]):
            if min(box[1] for box in below) < max(box[3] for box in above):
                faults.append(f"{name}: rows of a table overlap")


def check_pdf(pdf):
    name = pdf.relative_to(folder).as_posix()
    counts = Counter(tables=0, lists=0, figures=0, headings=0, picture_pages=0)
    with pikepdf.open(pdf) as document:
        title = check_head(document, name)
        contents = {page.objgen: drawn(page, name) for page in document.pages}
        top = document.Root.StructTreeRoot.K
        if len(top) != 1 or str(top[0].S) != "/Document":
            faults.append(f"{name}: the structure is no single document")
        root = Element(top[0], None)
        counts["mcids"] = check_mcids(document, root, contents, name)
        check_tables_and_lists(root, name, counts)
        pages = [page.objgen for page in document.pages]
        titled = check_headings(root, name, pages, counts)
        counts["words"] = check_words(pdf, document, root, contents, name)
        titles = [element.text for element in root.all() if element.role == "H1"]
        counts["outline"] = check_outline(document, name, title, titled, titles)
        # The code of a drawing sheet stands beside its head and is read after the panels.
        if "drawing-sheets" not in name and "per-student" not in name:
            check_order(root, name)
        counts["pages"] = len(pages)
        all_content = [one for marked, artifact in contents.values() for one in (*marked.values(), artifact)]
        counts["smallest_pt"] = min((line[3] for one in all_content for line in one.lines), default=0)
    return counts


# What is asked, and what the key says.

ORDER, FIRST, BETWEEN, OPEN, PREDICT = "order", "first", "between", "open", "predict"
ASKED = {
    ORDER: r"^Put these in order",
    FIRST: r"^Which comes first",
    BETWEEN: r"^Which of these must come between",
    OPEN: r"^Which of these are open",
    PREDICT: r"What happens to each of these\?",
    "pulse_pressure": r"What is the pulse pressure\?",
    "mean_pressure": r"Estimate the mean arterial pressure",
    "stroke_volume": r"at the end of systole\. What is the stroke volume\?",
    "stroke_volume_from_output": r"cardiac output is .* add to the arteries with each beat",
    "ejection_fraction": r"What is the ejection fraction",
    "esv_from_ef": r"How much blood is left in it",
    "cardiac_output_from_sv": r"stroke volume is .* What is the cardiac output",
    "cardiac_output_from_volumes": r"at the end of systole\..* What is the cardiac output",
    "diastole_duration": r"How long is ventricular diastole\?",
    "diastole_share": r"What percentage of the cycle is ventricular diastole\?",
    "cycle_length_from_rate": r"How long does one cardiac cycle last",
    "rate_by_counting": r"What heart rate does that give\?",
    "rate_from_rr_ms": r"are \S+ ms apart\. What is the heart rate\?",
    "rate_from_rr_mm": r"are \S+ mm apart\. What is the heart rate\?",
    "rate_from_squares": r"are \S+ large squares apart\. What is the heart rate\?",
    "systemic_resistance": r"aortic pressure is .*right atrial pressure is .*resistance",
}
IN_WORDS = {ORDER, FIRST, BETWEEN, OPEN, PREDICT}


class Question:
    def __init__(self, heading):
        self.heading, self.prompt, self.choices, self.answer, self.worked = heading, "", {}, None, []

    def add(self, line):
        """Takes a line of the page."""
        choice = re.match(r"([a-z])\. (.*)", line)
        if line.startswith("Answer: "):
            self.answer = line.removeprefix("Answer: ")
        elif self.answer is not None:
            self.worked.append(line)
        elif choice:
            self.choices[choice[1]] = choice[2]
        elif self.choices:
            self.choices[max(self.choices)] += " " + line
        else:
            self.prompt = (self.prompt + " " + line).strip()

    def asks(self):
        kinds = [kind for kind, words in ASKED.items() if re.search(words, self.prompt)]
        if len(kinds) != 1:
            faults.append(f"questions: “{self.prompt}” could ask for {kinds}")
            return None
        return kinds[0]


def lines_of(name):
    """The lines of a file's pages without their footers."""
    text = poppler("pdftotext", "-layout", str(folder / name), "-").decode()
    lines = []
    for page in text.split("\f"):
        on_page = [line for line in page.splitlines() if line.strip()]
        if on_page and not re.search(r"\d+ of \d+$", on_page[-1]):
            faults.append(f"{name}: a page ends with “{on_page[-1]}”")
        lines.extend(on_page[:-1])
    return lines


def read_questions(name, title):
    """The questions of each form, by its title."""
    forms, heading = {}, None
    for line in lines_of(name):
        line = " ".join(line.split())
        if line.startswith(title):
            heading = line.removeprefix(title)
        elif heading and re.match(r"Name\b|\d+ questions, ", line):
            form, heading = forms.setdefault(heading, []), None
        elif heading:
            heading += " " + line
        elif re.fullmatch(r"Question \d+ \(.*\)", line):
            form.append(Question(line))
        elif form:
            form[-1].add(line)
    return forms


def same_words(name):
    """The whole text by place is the whole text by structure."""
    by_place = " ".join(lines_of(name)).split()
    by_structure = " ".join(said(folder / name)).split()
    if by_place != by_structure:
        at = next((i for i, (a, b) in enumerate(zip(by_place, by_structure)) if a != b), -1)
        faults.append(f"{name}: {by_place[at : at + 6]} is read as {by_structure[at : at + 6]}")
    return len(by_place)


def check_calculation(calculations, kind, question):
    value, decimals = calculations.recompute(kind, question.prompt)
    unit = calculations.KINDS[kind][2]
    number, _, printed_unit = question.answer.partition(" ")
    fits = Fraction(number) == value and printed_unit == unit
    if not fits or len(number.partition(".")[2]) != decimals:
        faults.append(f"questions: {question.answer} printed, {float(value)} {unit} expected for {question.prompt}")


def check_prediction(question):
    ways = dict(re.findall(r"([a-z]) (rises|falls|stays about the same)(?:, |$)", question.answer))
    said_way = ", ".join(f"{letter} {way}" for letter, way in ways.items())
    if list(ways) != list(question.choices) or said_way != question.answer:
        faults.append(f"questions: {question.answer} for choices {list(question.choices)}")
    worked = " ".join(question.worked)
    number = r"([−-]?\d+(?:\.\d+)?)"
    found = re.findall(r"(?:^| )([a-z])\. From " + number + " to " + number + " ", worked)
    if [letter for letter, _, _ in found] != list(ways):
        faults.append(f"questions: predictions worked for {found}, asked for {list(ways)}")
    for letter, before, after in found:
        digit = 10.0 ** -len(before.partition(".")[2])
        before, after = (float(value.replace("−", "-")) for value in (before, after))
        right = {
            "rises": after > before,
            "falls": after < before,
            "stays about the same": abs(after - before) < 1.5 * digit,
        }[ways[letter]]
        if not right:
            faults.append(f"questions: {letter} {ways[letter]}, from {before} to {after}: {question.prompt}")
    return len(found)


def check_letters(kind, question):
    letters = list(question.choices)
    given = question.answer.removeprefix("for example ").split(";")[0]
    chosen = [] if given == "none of them" else given.split(", ")
    right = {
        ORDER: sorted(chosen) == letters and len(letters) > 1,
        FIRST: len(chosen) == 1 and set(chosen) <= set(letters),
        BETWEEN: len(set(chosen)) == len(chosen) and set(chosen) <= set(letters),
        OPEN: len(set(chosen)) == len(chosen) and set(chosen) <= set(letters),
    }[kind]
    if not right or letters != [chr(ord("a") + i) for i in range(len(letters))]:
        faults.append(f"questions: {question.answer} for the choices {letters}")


def check_questions():
    script = pathlib.Path(__file__).parents[2] / "cardiac/tests/calculations_check.py"
    spec = importlib.util.spec_from_file_location("calculations_check", script)
    calculations = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(calculations)

    asked = read_questions("questions.pdf", "Questions: ")
    answered = read_questions("questions-key.pdf", "Key to the questions: ")
    if list(asked) != list(answered):
        faults.append(f"questions: forms {list(asked)} and keys {list(answered)}")
    without = " ".join(" ".join(lines_of("questions.pdf")).split())
    if "Answer:" in without:
        faults.append("questions.pdf: has an answer")
    kinds, changes, prompts = {}, {}, {}
    for form, questions in answered.items():
        bare = [(one.heading, one.prompt, one.choices) for one in asked[form]]
        if bare != [(one.heading, one.prompt, one.choices) for one in questions]:
            faults.append(f"questions: form {form} asks something else in its key")
        kinds[form] = [question.asks() for question in questions]
        changes[form] = 0
        for kind, question in zip(kinds[form], questions):
            if question.answer is None or not question.worked:
                faults.append(f"questions: no answer to “{question.prompt}”")
                continue
            for line in question.worked:
                # Words alone, such as the end of a line, may stand in another question, too.
                if re.search(r" = |\. From |\(rule ", line) and line in without:
                    faults.append(f"questions.pdf: has “{line}”")
            if kind == PREDICT:
                changes[form] += check_prediction(question)
            elif kind in IN_WORDS:
                check_letters(kind, question)
            elif kind is not None:
                check_calculation(calculations, kind, question)
        prompts[form] = [
            question.prompt for kind, question in zip(kinds[form], questions) if kind not in IN_WORDS
        ]
    for one, other in zip(list(prompts.values()), list(prompts.values())[1:]):
        for a, b in zip(one, other):
            if a == b:
                faults.append(f"questions: two forms ask the same: {a}")
    return {
        "kinds": list(kinds.values()),
        "calculated": [len(prompts[form]) for form in prompts],
        "changes": list(changes.values()),
        "words": [same_words("questions.pdf"), same_words("questions-key.pdf")],
    }


# Strips, measured.

DPI = 600
PX = DPI / 25.4


def raster(pdf, page):
    """A page in grey. Cairo draws lines where they are; pdftoppm moves them to whole pixels."""
    words = ["-r", str(DPI), "-f", str(page), "-l", str(page), "-gray", "-png", "-singlefile"]
    out = poppler("pdftocairo", *words, str(pdf), "-")
    return cv2.imdecode(np.frombuffer(out, dtype=np.uint8), cv2.IMREAD_GRAYSCALE)


def runs(flags):
    """First and last index of each stretch that is true."""
    edges = np.flatnonzero(np.diff(np.concatenate(([0], flags.astype(np.int8), [0]))))
    return list(zip(edges[::2], edges[1::2] - 1))


def centres(ink):
    """The centroid of each line in a profile in mm, and its darkness."""
    found = []
    for first, last in runs(ink > 8):
        part = ink[first : last + 1]
        found.append((((np.arange(first, last + 1) + 0.5) * part).sum() / part.sum() / PX, part.max()))
    return found


def spacing(ink):
    """Largest distance of the lines from where they belong, counted from the first: of all and
    of the thick ones, in mm; and how many there are."""
    lines = centres(ink)
    places = np.array([place for place, _ in lines])
    thick = np.array([place for place, dark in lines if dark > 90])
    off = np.abs(places - places[0] - np.arange(len(places)))
    off_thick = np.abs(thick - thick[0] - 5.0 * np.arange(len(thick)))
    return float(off.max()), float(off_thick.max()), [len(places), len(thick)]


def middle(part, axis):
    """Centre of a black stroke across `axis`, in pixels."""
    ink = np.median(255.0 - part.astype(float), axis=1 - axis)
    ink[ink < 128] = 0
    return float(((np.arange(ink.size) + 0.5) * ink).sum() / ink.sum())


def check_strip(image):
    # The grid is where columns are grey from top to bottom.
    ink = 255.0 - image.astype(float)
    grey = image < 235
    rows = [
        (first, last)
        for first, last in runs(grey[:, image.shape[1] // 4 : image.shape[1] // 2].mean(axis=1) > 0.06)
        if (last - first) / PX > 25
    ]
    (top, bottom) = rows[0]
    columns = runs(grey[top:bottom].mean(axis=0) > 0.06)
    left, right = columns[0][0], columns[-1][1]
    inner = ink[top : bottom + 1, left - 10 : right + 11]
    across = spacing(np.median(inner, axis=0))
    down = spacing(np.median(ink[top - 10 : bottom + 11, left : right + 1], axis=1))

    def area(x0, x1, y0=0.0, y1=(bottom - top) / PX):
        """A part of the grid in mm from its top left corner; and where it begins, in pixels."""
        a, b = left + round(x0 * PX), top + round(y0 * PX)
        return image[b : top + round(y1 * PX), a : left + round(x1 * PX)], a, b

    part, _, _ = area(6.0, 9.0)
    high = middle(part, 0)
    foot = [middle(area(x, x + 1.0)[0], 0) for x in (3.5, 10.7)]
    pulse_top = high / PX
    walls = []
    for x in (4.0, 9.0):
        part, start, _ = area(x, x + 2.0, pulse_top + 1.0, pulse_top + 9.0)
        walls.append(start + middle(part, 1))

    # Ticks stand on the grid's upper side.
    trace, start, begin = area(14.0, (right - left) / PX, 1.0)
    dark = trace < 60
    tops = np.where(dark.any(axis=0), dark.argmax(axis=0), trace.shape[0])
    zero = top + foot[0] - begin
    peaks = []
    for first, last in runs(tops < zero - 7.0 * PX):
        here = tops[first : last + 1]
        peaks.append(start + first + np.flatnonzero(here == here.min()).mean())
    apart = np.diff(peaks) / PX
    return {
        "lines_off_mm": max(across[0], down[0]),
        "thick_lines_off_mm": max(across[1], down[1]),
        "lines": [across[2], down[2]],
        "pulse_high_mm": [(y - high) / PX for y in foot],
        "pulse_wide_mm": (walls[1] - walls[0]) / PX,
        "r_to_r_mm": [float(gap) for gap in apart],
    }


found = {"pdfs": {}}
for pdf in sorted(folder.rglob("*.pdf")):
    found["pdfs"][pdf.relative_to(folder).as_posix()] = check_pdf(pdf)
if (folder / "questions-key.pdf").exists():
    found["questions"] = check_questions()
if (folder / "ecg-strips.pdf").exists():
    found["strip"] = check_strip(raster(folder / "ecg-strips.pdf", 1))
found["faults"] = faults
print(json.dumps(found))
