"""validate_result.py SCHEMA RESULT: exit 0 if the result obeys the schema, else says why.

The schema leaves room for keys of later versions, so that programs which check by it go on. Here
every object is taken as complete: a key that the schema does not describe is a fault.
"""
import json
import sys

import jsonschema


def completed(node):
    if isinstance(node, list):
        return [completed(one) for one in node]
    if not isinstance(node, dict):
        return node
    node = {key: completed(one) for key, one in node.items()}
    if node.get("type") == "object" and "properties" in node:
        node.setdefault("additionalProperties", False)
    return node


schema, result = (json.load(open(name, encoding="utf-8")) for name in sys.argv[1:3])
jsonschema.Draft7Validator.check_schema(schema)
errors = list(jsonschema.Draft7Validator(completed(schema)).iter_errors(result))
for error in errors:
    print("/".join(map(str, error.path)) + ": " + error.message)
sys.exit(1 if errors else 0)
