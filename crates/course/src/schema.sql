-- Everything is added and nothing changed, but for review_cursors. `no` is the order of adding.

CREATE TABLE tests (
    id TEXT PRIMARY KEY,
    added_at TEXT NOT NULL
) STRICT;

CREATE TABLE test_texts (
    no INTEGER PRIMARY KEY,
    test TEXT NOT NULL REFERENCES tests (id),
    title TEXT NOT NULL,
    definition TEXT NOT NULL,
    conventions TEXT NOT NULL CHECK (json_valid(conventions)),
    added_at TEXT NOT NULL
) STRICT;
CREATE INDEX test_texts_test ON test_texts (test);

CREATE TABLE students (
    no INTEGER PRIMARY KEY,
    key TEXT NOT NULL UNIQUE,
    added_at TEXT NOT NULL
) STRICT;

CREATE TABLE student_names (
    no INTEGER PRIMARY KEY,
    student TEXT NOT NULL REFERENCES students (key),
    name TEXT NOT NULL,
    added_at TEXT NOT NULL
) STRICT;
CREATE INDEX student_names_student ON student_names (student);

CREATE TABLE sheets (
    test TEXT NOT NULL REFERENCES tests (id),
    sheet INTEGER NOT NULL,
    form TEXT NOT NULL CHECK (length(form) = 1),
    added_at TEXT NOT NULL,
    PRIMARY KEY (test, sheet)
) STRICT;

-- The long columns come last, so that lists need not read them.
CREATE TABLE pages (
    no INTEGER PRIMARY KEY,
    hash TEXT NOT NULL,
    number INTEGER NOT NULL,
    reader TEXT NOT NULL,
    file TEXT NOT NULL,
    added_at TEXT NOT NULL,
    status TEXT NOT NULL CHECK (status IN ('read', 'unreadable')),
    reason TEXT CHECK ((reason IS NULL) = (status = 'read')),
    test TEXT CHECK (test IS NOT NULL OR status = 'unreadable'),
    sheet INTEGER,
    form TEXT CHECK (length(form) = 1),
    page INTEGER,
    drawing TEXT CHECK (drawing IS NULL AND status = 'unreadable' OR status = 'read' AND json_valid(drawing)),
    picture BLOB,
    CHECK ((test IS NULL) = (sheet IS NULL) AND (test IS NULL) = (form IS NULL) AND (test IS NULL) = (page IS NULL)),
    FOREIGN KEY (test, sheet) REFERENCES sheets (test, sheet)
) STRICT;
CREATE INDEX pages_input ON pages (hash, number);
CREATE INDEX pages_place ON pages (test, sheet, page);

CREATE TABLE markings (
    no INTEGER PRIMARY KEY,
    test TEXT NOT NULL REFERENCES tests (id),
    rubric TEXT NOT NULL,
    program TEXT NOT NULL,
    added_at TEXT NOT NULL
) STRICT;
CREATE INDEX markings_test ON markings (test);

CREATE TABLE verdicts (
    no INTEGER PRIMARY KEY,
    marking INTEGER NOT NULL REFERENCES markings (no),
    test TEXT NOT NULL,
    sheet INTEGER NOT NULL,
    rule TEXT NOT NULL,
    verdict TEXT NOT NULL CHECK (json_valid(verdict)),
    UNIQUE (marking, sheet, rule),
    FOREIGN KEY (test, sheet) REFERENCES sheets (test, sheet)
) STRICT;

CREATE TABLE acceptances (
    no INTEGER PRIMARY KEY,
    marking INTEGER NOT NULL REFERENCES markings (no),
    who TEXT NOT NULL,
    at TEXT NOT NULL,
    why TEXT NOT NULL
) STRICT;

CREATE TABLE review_cursors (
    who TEXT NOT NULL,
    test TEXT NOT NULL,
    rule TEXT NOT NULL,
    sheet INTEGER NOT NULL,
    PRIMARY KEY (who, test),
    FOREIGN KEY (test, sheet) REFERENCES sheets (test, sheet)
) STRICT;
