"""Holds a manifest to the standard's schemas: `scorm_check.py SCHEMAS EDITION < imsmanifest.xml`."""

import sys
import tempfile
from pathlib import Path

from lxml import etree

EDITIONS = {
    "SCORM 1.2": (
        "scorm12edition",
        {
            "http://www.imsproject.org/xsd/imscp_rootv1p1p2": "imscp_rootv1p1p2.xsd",
            "http://www.adlnet.org/xsd/adlcp_rootv1p2": "adlcp_rootv1p2.xsd",
        },
    ),
    "SCORM 2004": (
        "scorm20044thedition",
        {
            "http://www.imsglobal.org/xsd/imscp_v1p1": "imscp_v1p1.xsd",
            "http://www.adlnet.org/xsd/adlcp_v1p3": "adlcp_v1p3.xsd",
        },
    ),
}

folder, spaces = EDITIONS[sys.argv[2]]
folder = Path(sys.argv[1]).resolve() / folder
imports = "".join(
    f'<xs:import namespace="{space}" schemaLocation="{(folder / file).as_uri()}"/>'
    for space, file in spaces.items()
)
both = f'<xs:schema xmlns:xs="http://www.w3.org/2001/XMLSchema">{imports}</xs:schema>'
with tempfile.NamedTemporaryFile(suffix=".xsd") as file:
    file.write(both.encode())
    file.flush()
    schema = etree.XMLSchema(etree.parse(file.name, etree.XMLParser(no_network=True)))
manifest = sys.stdin.buffer.read()
schema.assertValid(etree.fromstring(manifest))
# A check that lets everything pass would be none.
broken = manifest.replace(b"<resource identifier=", b"<resource odd=", 1)
assert not schema.validate(etree.fromstring(broken)), "the schemas let anything pass"
