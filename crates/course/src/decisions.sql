-- Apart from the other tables, as a file of an earlier format gets this one anew.

CREATE TABLE decisions (
    no INTEGER PRIMARY KEY,
    test TEXT NOT NULL,
    sheet INTEGER NOT NULL,
    kind TEXT NOT NULL CHECK (kind IN
        ('outcome', 'points', 'waived', 'reweighted', 'blind', 'student', 'page', 'aside', 'withdrawn')),
    rule TEXT CHECK ((rule IS NULL) = (kind IN ('student', 'page', 'aside', 'withdrawn'))),
    outcome TEXT CHECK (outcome IN ('met', 'half', 'not_met')),
    number REAL CHECK ((number IS NOT NULL) = (kind IN ('points', 'reweighted'))),
    student TEXT REFERENCES students (key) CHECK (student IS NULL OR kind = 'student'),
    page INTEGER REFERENCES pages (no) CHECK ((page IS NOT NULL) = (kind IN ('page', 'aside'))),
    withdraws INTEGER UNIQUE REFERENCES decisions (no) CHECK ((withdraws IS NOT NULL) = (kind = 'withdrawn')),
    seen INTEGER REFERENCES markings (no),
    who TEXT NOT NULL,
    at TEXT NOT NULL,
    why TEXT NOT NULL,
    CHECK ((outcome IS NOT NULL) = (kind IN ('outcome', 'blind'))),
    FOREIGN KEY (test, sheet) REFERENCES sheets (test, sheet)
) STRICT;
CREATE INDEX decisions_sheet ON decisions (test, sheet);
