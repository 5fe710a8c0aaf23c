"""validate_result.py SCHEMA RESULT: exit 0 if the result obeys the schema, else says why."""
import json
import sys

import jsonschema

schema, result = (json.load(open(name, encoding="utf-8")) for name in sys.argv[1:3])
jsonschema.Draft7Validator.check_schema(schema)
errors = list(jsonschema.Draft7Validator(schema).iter_errors(result))
for error in errors:
    print("/".join(map(str, error.path)) + ": " + error.message)
sys.exit(1 if errors else 0)
