"""Whether the schemas of the rule language accept and refuse what they should.

`reading.rs` starts this file, gives it schemas with conventions in TOML as JSON on standard
input, and reads for each convention what is wrong with it, if anything, from standard output.
"""

import json
import sys
import tomllib

from jsonschema import Draft202012Validator


def fault(validator, text):
    """The first thing wrong with a convention, or None."""
    # An editor sees what TOML sees; a text that is no TOML has no place here.
    errors = sorted(validator.iter_errors(tomllib.loads(text)), key=lambda error: str(error.path))
    return errors[0].message if errors else None


def main():
    found = []
    for given in json.load(sys.stdin):
        Draft202012Validator.check_schema(given["schema"])
        validator = Draft202012Validator(given["schema"])
        found.append([fault(validator, text) for text in given["texts"]])
    json.dump(found, sys.stdout)


if __name__ == "__main__":
    main()
