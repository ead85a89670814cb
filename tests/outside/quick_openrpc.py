"""The description that rpc.discover gives is an OpenRPC document by that standard's own schema, and what the methods answer is what it
says.  Source: the meta-schema of the OpenRPC Specification (Apache-2.0), as JSON from the package @open-rpc/meta-schema of npm;
its path comes in OPENRPC_META_SCHEMA, since it is not ours to keep, and without it the document is held to its own schemas alone.
Needs python3-jsonschema for either; says so and ends where it is missing."""

import json
import os
import socket
import subprocess
import sys
import tempfile
import time

try:
    import jsonschema
except ImportError:
    print("left out: no python3-jsonschema")
    sys.exit(0)

sys.path.insert(0, os.path.dirname(os.path.abspath(__file__)))
from lib_service import check, run, wait_for

PROGRAM, SOURCE = sys.argv[1:3]
folder = tempfile.TemporaryDirectory()
PATH = os.path.join(folder.name, "s")


def start():
    config = os.path.join(folder.name, "bowarm.toml")
    with open(config, "w", encoding="utf-8") as file:
        file.write(f'version = 1\n[midi]\nsystem = "none"\n[player]\nunder_hands = true\n[status]\nsocket = "{PATH}"\n')
    process = subprocess.Popen([PROGRAM, "run", "--as-root", "--config", config, "--takes", os.path.join(folder.name, "takes")],
                               env=dict(os.environ, BOWARM_DATA=os.path.join(SOURCE, "config")), stderr=subprocess.DEVNULL)
    for _ in range(500):
        if os.path.exists(PATH):
            return process
        time.sleep(0.02)
    raise SystemExit("the service did not come up")


def ask(method, params=None):
    with socket.socket(socket.AF_UNIX) as peer:
        peer.settimeout(10)
        peer.connect(PATH)
        peer.sendall(json.dumps({"jsonrpc": "2.0", "id": 1, "method": method, **({"params": params} if params else {})}).encode() + b"\n")
        return json.loads(peer.makefile("rb").readline())


def sample(schema):
    """A value that the schema takes."""
    if "enum" in schema:
        return schema["enum"][0]
    if schema["type"] == "array":
        return [sample(schema["items"])]
    return {"boolean": True, "number": schema.get("minimum"), "integer": schema.get("minimum"), "string": "word"}[schema["type"]]


def document_is_openrpc():
    """The document is valid by the standard's meta-schema."""
    path = os.environ.get("OPENRPC_META_SCHEMA")
    if not path:
        print("left out: OPENRPC_META_SCHEMA names no file")
        return
    with open(path, encoding="utf-8") as file:
        text = file.read()
    # The meta-schema leans on a typed twin of JSON Schema draft 7, elsewhere on the net; the draft itself is here.
    text = text.replace('"https://meta.json-schema.tools/#/definitions/JSONSchemaObject/properties/$ref"', '"#/definitions/text"')
    text = text.replace('"$ref":"https://meta.json-schema.tools"', '"$ref":"http://json-schema.org/draft-07/schema#"')
    meta = json.loads(text)
    del meta["$schema"]
    meta["definitions"]["text"] = {"type": "string"}
    validator = jsonschema.Draft7Validator(meta)
    validator.validate(ask("rpc.discover")["result"])
    check(not validator.is_valid({"openrpc": "1.2.6", "info": {}, "methods": []}), "the meta-schema takes anything")


def answers_are_as_described():
    """Every method takes what is described and answers what is described."""
    document = ask("rpc.discover")["result"]
    names = [method["name"] for method in document["methods"]]
    check(len(names) == len(set(names)) and "status" in names, f"odd methods: {names}")
    for method in document["methods"]:
        params = {row["name"]: sample(row["schema"]) for row in method["params"]}
        if method["name"] == "contact_point":
            del params["zone"]  # one of the two
        if method["name"] == "setup_answer":
            wait_for(lambda: ask("setup_state")["result"]["waiting"], "a question of setup_start")
        answer = ask(method["name"], params)
        check("result" in answer, f"{method['name']} {params}: {answer}")
        schema = dict(method["result"]["schema"], components=document["components"])
        jsonschema.validate(answer["result"], schema)
        for row in method["params"]:
            wrong = dict(params, **{row["name"]: {"odd": 1}})
            check(ask(method["name"], wrong)["error"]["code"] == -32602, f"{method['name']} takes {wrong}")


def protocol_page_tells_all():
    """PROTOCOL.md has every method, every parameter, every field of a snapshot and every event."""
    with open(os.path.join(SOURCE, "daemon", "status", "PROTOCOL.md"), encoding="utf-8") as file:
        page = file.read()
    document = ask("rpc.discover")["result"]
    words = list(document["components"]["schemas"]["snapshot"]["properties"])
    for method in document["methods"]:
        words += [method["name"], *(row["name"] for row in method["params"])]
        words += [word for row in method["params"] if row["name"] == "events" for word in row["schema"]["items"]["enum"]]
    missing = [word for word in words if f"`{word}`" not in page]
    check(not missing, f"not in PROTOCOL.md: {missing}")


service = start()
try:
    code = run([document_is_openrpc, answers_are_as_described, protocol_page_tells_all])
finally:
    service.terminate()
    service.wait(10)
    folder.cleanup()
sys.exit(code)
