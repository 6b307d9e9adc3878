"""Holds documents against a JSON Schema, by the Python package jsonschema; TOML is read by tomllib.

check_schema.py SCHEMA DOCUMENTS: SCHEMA is a file, DOCUMENTS a file with a JSON list of {"format": "json" or "toml",
"text": ...}. Prints a JSON list: null for a valid document, else what is wrong with it. A schema that is not one
(by the metaschema of draft 2020-12, or by a pattern that is no regular expression) ends the script.
"""

import json
import re
import sys
import tomllib
from pathlib import Path

from jsonschema import Draft202012Validator

# What makes this tool's schemas: another word would be taken for an annotation and check nothing.
KEYWORDS = {
    "$schema", "$comment", "$defs", "$ref", "title", "description", "default", "examples", "type", "const", "enum",
    "pattern", "minimum", "maximum", "items", "prefixItems", "minItems", "maxItems", "properties", "patternProperties",
    "additionalProperties", "required", "anyOf", "allOf", "oneOf",
}


def look(schema):
    if not isinstance(schema, dict):
        return
    unknown = set(schema) - KEYWORDS
    if unknown:
        sys.exit(f"keywords {unknown}")
    for pattern in [schema.get("pattern"), *schema.get("patternProperties", {})]:
        if pattern is not None:
            re.compile(pattern)
    for key in ("$defs", "properties", "patternProperties"):
        for inner in schema.get(key, {}).values():
            look(inner)
    for key in ("anyOf", "allOf", "oneOf", "prefixItems"):
        for inner in schema.get(key, []):
            look(inner)
    for key in ("items", "additionalProperties"):
        look(schema.get(key))


def refuse_constant(word):
    raise ValueError(f"{word} is not JSON")


def read(document):
    if document["format"] == "toml":
        return tomllib.loads(document["text"])
    return json.loads(document["text"], parse_constant=refuse_constant)


def main():
    schema = json.loads(Path(sys.argv[1]).read_text(encoding="utf-8"))
    if schema["$schema"] != Draft202012Validator.META_SCHEMA["$id"]:
        sys.exit(f"a schema of {schema['$schema']}")
    Draft202012Validator.check_schema(schema)
    look(schema)
    validator = Draft202012Validator(schema)
    verdicts = []
    for document in json.loads(Path(sys.argv[2]).read_text(encoding="utf-8")):
        error = next(validator.iter_errors(read(document)), None)
        verdicts.append(error and f"{error.json_path}: {error.message}")
    print(json.dumps(verdicts))


if __name__ == "__main__":
    main()
