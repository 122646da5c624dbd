"""Papers against ISO 19005-2:2011 (PDF/A-2), level B: its main clauses, walked object by object.

No independent validator for this part of the standard was to be had from the registries that this
project installs from, so none was run. The clauses are read from memory and named beside each rule;
the objects come from qpdf, which knows PDF but nothing of our writer. What is not looked at: glyph
widths against the font program (6.2.11.5), .notdef glyphs (6.2.11.8), and the ICC profile's inside.
"""

import base64
import html
import json
import re
import subprocess
from pathlib import Path
from typing import Any

import pytest

from papers_sample import sample_job
from soffit.papers.labels import label_pdf
from soffit.papers.packs import PACKS, make_packs
from soffit.papers.template import template_pdf

FORBIDDEN_ACTIONS = {
    "/Launch", "/Sound", "/Movie", "/ResetForm", "/ImportData", "/Hide", "/SetOCGState",
    "/Rendition", "/Trans", "/GoTo3DView", "/JavaScript", "/SetState", "/NoOp",
}  # fmt: skip
FORBIDDEN_ANNOTATIONS = {"/3D", "/Sound", "/Screen", "/Movie"}
BLEND_MODES = {
    "/Normal", "/Compatible", "/Multiply", "/Screen", "/Overlay", "/Darken", "/Lighten",
    "/ColorDodge", "/ColorBurn", "/HardLight", "/SoftLight", "/Difference", "/Exclusion", "/Hue",
    "/Saturation", "/Color", "/Luminosity",
}  # fmt: skip

Objects = dict[str, Any]


def objects_of(pdf: bytes, folder: Path) -> Objects:
    """Return every object of a file, its streams decoded, as qpdf reads them."""
    path = folder / "paper.pdf"
    path.write_bytes(pdf)
    call = ["qpdf", "--json=2", "--json-stream-data=inline", "--decode-level=generalized", path]
    done = subprocess.run(call, check=True, capture_output=True)
    return json.loads(done.stdout)["qpdf"][1]


def of(objects: Objects, name: str) -> dict[str, Any]:
    """Return an object's dictionary."""
    entry = objects[f"obj:{name}"]
    return entry["stream"]["dict"] if "stream" in entry else entry["value"]


def dictionaries(value: Any):
    """Yield every dictionary inside a value, direct ones too."""
    if isinstance(value, dict):
        yield value
        for item in value.values():
            yield from dictionaries(item)
    elif isinstance(value, list):
        for item in value:
            yield from dictionaries(item)


def everything(objects: Objects):
    """Yield every dictionary of a file."""
    for entry in objects.values():
        yield from dictionaries(entry["stream"]["dict"] if "stream" in entry else entry["value"])


def resolve(objects: Objects, value: Any) -> Any:
    """Follow one reference."""
    if isinstance(value, str) and re.fullmatch(r"\d+ \d+ R", value):
        return of(objects, value)
    return value


def text_of(objects: Objects, name: str) -> bytes:
    """Return a stream's decoded bytes."""
    return base64.b64decode(objects[f"obj:{name}"]["stream"]["data"])


def breaches(pdf: bytes, objects: Objects) -> list[str]:
    """Return every rule that a file breaks, by clause."""
    trailer = objects["trailer"]["value"]
    root = of(objects, trailer["/Root"])
    return [
        *_file(pdf, trailer, objects),
        *_graphics(objects, root),
        *_states(objects),
        *_pictures(objects),
        *_fonts(objects),
        *_interaction(objects, root),
        *_metadata(objects, root),
        *_tags(objects, root),
    ]


def _file(pdf: bytes, trailer: dict[str, Any], objects: Objects):
    first, second, *_ = pdf.split(b"\n", 2)
    if not re.fullmatch(rb"%PDF-1\.[0-7]\r?", first):
        yield "6.1.2 header"
    if not (second.startswith(b"%") and sum(byte > 127 for byte in second[1:5]) == 4):
        yield "6.1.2 comment of four high bytes"
    if "/ID" not in trailer:
        yield "6.1.3 no file identifier"
    if "/Encrypt" in trailer:
        yield "6.1.3 encrypted"
    for name, entry in objects.items():
        if "stream" not in entry:
            continue
        keys = entry["stream"]["dict"]
        if {"/F", "/FFilter", "/FDecodeParams"} & set(keys):
            yield f"6.1.7.1 {name} lies outside the file"
        if "/LZWDecode" in json.dumps(keys.get("/Filter", "")):
            yield f"6.1.7.2 {name} is packed with LZW"


def _intents(objects: Objects, root: dict[str, Any]) -> list[dict[str, Any]]:
    found = [resolve(objects, item) for item in resolve(objects, root.get("/OutputIntents", []))]
    return [item for item in found if item.get("/S") == "/GTS_PDFA1"]


def _graphics(objects: Objects, root: dict[str, Any]):
    ours = _intents(objects, root)
    if not ours:
        yield "6.2.3 no output intent"
        pages = (item for item in everything(objects) if item.get("/Type") == "/Page")
        if any("/CS" not in resolve(objects, page.get("/Group", {"/CS": 0})) for page in pages):
            yield "6.2.10 transparency without a blending space"
    spaces = set()
    for intent in ours:
        profile = intent.get("/DestOutputProfile")
        if profile is None or text_of(objects, profile)[36:40] != b"acsp":
            yield "6.2.3 the output intent has no ICC profile"
        else:
            spaces.add(of(objects, profile).get("/N"))
    for name in contents(objects):
        operators = {word.decode("latin-1") for word in _bare(text_of(objects, name)).split()}
        if {"k", "K"} & operators and 4 not in spaces:
            yield f"6.2.4.3 {name} paints CMYK against another intent"
        if {"rg", "RG"} & operators and 3 not in spaces:
            yield f"6.2.4.3 {name} paints RGB against another intent"


def _states(objects: Objects):
    for item in everything(objects):
        if item.get("/Type") == "/ExtGState" or {"/BM", "/ca", "/CA", "/SMask"} & set(item):
            if "/TR" in item or item.get("/TR2", "/Default") != "/Default":
                yield "6.2.5 transfer function"
            mode = item.get("/BM", "/Normal")
            if isinstance(mode, str) and mode.startswith("/") and mode not in BLEND_MODES:
                yield f"6.2.10 blend mode {mode}"


def _pictures(objects: Objects):
    for name, entry in objects.items():
        keys = entry["stream"]["dict"] if "stream" in entry else {}
        if keys.get("/Subtype") == "/Image" and (
            {"/Alternates", "/OPI"} & set(keys) or keys.get("/Interpolate") is True
        ):
            yield f"6.2.8 {name}"
        if keys.get("/Subtype") == "/Form" and {"/OPI", "/PS", "/Ref"} & set(keys):
            yield f"6.2.9 {name}"


def contents(objects: Objects) -> list[str]:
    """Return the names of all streams that paint."""
    found = []
    for item in everything(objects):
        if item.get("/Type") == "/Page":
            content = item.get("/Contents", [])
            found += content if isinstance(content, list) else [content]
    for name, entry in objects.items():
        if "stream" in entry and entry["stream"]["dict"].get("/Subtype") == "/Form":
            found.append(name.removeprefix("obj:"))
    return found


def _bare(content: bytes) -> bytes:
    """Return painting operators without strings, names and what images carry inline."""
    return re.sub(rb"\((?:\\.|[^\\()])*\)|<[0-9A-Fa-f\s]*>|/\S+", b" ", content, flags=re.S)


def _fonts(objects: Objects):
    for item in everything(objects):
        if item.get("/Type") != "/Font":
            continue
        kind, name = item.get("/Subtype"), item.get("/BaseFont")
        if kind == "/Type0":
            if item.get("/Encoding") not in {"/Identity-H", "/Identity-V"}:
                yield f"6.2.11.3.3 {name}: its map is not embedded"
            if "/ToUnicode" not in item:
                yield f"{name} cannot be searched (asked at level U, promised by us)"
            continue
        if kind == "/Type3":
            continue
        descriptor = resolve(objects, item.get("/FontDescriptor", {}))
        if not {"/FontFile", "/FontFile2", "/FontFile3"} & set(descriptor):
            yield f"6.2.11.4.1 {name} is not embedded"
        if kind == "/CIDFontType2" and "/CIDToGIDMap" not in item:
            yield f"6.2.11.3.2 {name} has no map to its glyphs"


def _interaction(objects: Objects, root: dict[str, Any]):
    for item in everything(objects):
        if item.get("/S") in FORBIDDEN_ACTIONS and item.get("/Type") != "/StructElem":
            yield f"6.5.1 action {item['/S']}"
        if "/AA" in item:
            yield "6.5.2 additional actions"
        if item.get("/Type") == "/Annot" and item.get("/Subtype") in FORBIDDEN_ANNOTATIONS:
            yield f"6.3.1 annotation {item['/Subtype']}"
        if item.get("/Type") == "/Annot" and not item.get("/F", 0) & 4:
            yield "6.3.2 an annotation that does not print"
    names = resolve(objects, root.get("/Names", {}))
    asked = {
        "6.4 a form, which no paper of ours has": "/AcroForm" in root,
        "6.5.1 scripts": "/JavaScript" in names,
        "6.8 files inside": "/EmbeddedFiles" in names,
        "6.9 layers, which no paper of ours has": "/OCProperties" in root,
    }
    yield from (words for words, is_there in asked.items() if is_there)


def _metadata(objects: Objects, root: dict[str, Any]):
    if "/Metadata" not in root:
        yield "6.6.2.1 no metadata"
        return
    keys = of(objects, root["/Metadata"])
    if "/Filter" in keys:
        yield "6.6.2.1 packed metadata"
    text = text_of(objects, root["/Metadata"]).decode("utf-8")
    part = re.search(r"pdfaid:part(?:>|=\")(\d)", text)
    level = re.search(r"pdfaid:conformance(?:>|=\")(\w)", text)
    if part is None or level is None or (part[1], level[1]) != ("2", "B"):
        yield "6.6.4 part and conformance"
    title = of(objects, objects["trailer"]["value"]["/Info"]).get("/Title", "")
    if not title or title.removeprefix("u:") not in html.unescape(text):
        yield "6.6.3 the title is not the same in both places"


def _tags(objects: Objects, root: dict[str, Any]):
    """Tags are no demand of level B; the papers promise them (ISO 32000-1, 14.7 to 14.9)."""
    if root.get("/MarkInfo", {}).get("/Marked") is not True or "/StructTreeRoot" not in root:
        yield "14.7 not tagged"
    if not root.get("/Lang"):
        yield "14.9.2 no language"
    for item in everything(objects):
        if item.get("/S") == "/Figure" and not item.get("/Alt"):
            yield "14.9.3 a figure without words"


@pytest.fixture(scope="module")
def papers() -> dict[str, bytes]:
    job = sample_job()
    made: dict[str, bytes] = dict(make_packs(job, tuple(PACKS)))
    return {**made, "labels": label_pdf(job), "template": template_pdf(job)}


@pytest.mark.needs("qpdf")
@pytest.mark.parametrize("name", [*PACKS, "labels", "template"])
def test_clauses_6_1_to_6_9_hold_for_every_paper(papers, name, tmp_path):
    pdf = papers[name]
    assert breaches(pdf, objects_of(pdf, tmp_path)) == []


def _font(objects: Objects) -> dict[str, Any]:
    return next(item for item in everything(objects) if "/FontFile3" in item)


def _root(objects: Objects) -> dict[str, Any]:
    return of(objects, objects["trailer"]["value"]["/Root"])


SPOILED = {
    "6.2.11.4.1": lambda o: _font(o).pop("/FontFile3"),
    "6.2.3 no": lambda o: _root(o).pop("/OutputIntents"),
    "6.1.3 encrypted": lambda o: o["trailer"]["value"].update({"/Encrypt": {}}),
    "6.1.3 no": lambda o: o["trailer"]["value"].pop("/ID"),
    "6.5.1 action": lambda o: _root(o).update({"/OpenAction": {"/S": "/JavaScript"}}),
    "6.5.2": lambda o: _root(o).update({"/AA": {}}),
    "6.3.2": lambda o: _root(o).update({"/X": {"/Type": "/Annot", "/Subtype": "/Link"}}),
    "6.6.2.1 no": lambda o: _root(o).pop("/Metadata"),
    "6.8": lambda o: _root(o).update({"/Names": {"/EmbeddedFiles": {}}}),
    "6.2.10 blend": lambda o: _root(o).update({"/X": {"/Type": "/ExtGState", "/BM": "/Odd"}}),
    "6.2.5": lambda o: _root(o).update({"/X": {"/Type": "/ExtGState", "/TR": "/Identity"}}),
    "14.7": lambda o: _root(o).pop("/MarkInfo"),
    "14.9.2": lambda o: _root(o).pop("/Lang"),
}


@pytest.mark.needs("qpdf")
@pytest.mark.parametrize("clause", SPOILED)
def test_a_spoiled_file_is_found_out(papers, clause, tmp_path):
    pdf = papers["commissioner"]
    objects = objects_of(pdf, tmp_path)
    SPOILED[clause](objects)
    assert any(found.startswith(clause) for found in breaches(pdf, objects))


@pytest.mark.needs("qpdf")
def test_wrong_marks_and_wrong_heads_are_found_out(papers, tmp_path):
    pdf = papers["commissioner"]
    objects = objects_of(pdf, tmp_path)
    entry = objects[f"obj:{_root(objects)['/Metadata']}"]["stream"]
    text = base64.b64decode(entry["data"]).replace(b"<pdfaid:part>2", b"<pdfaid:part>3")
    entry["data"] = base64.b64encode(text).decode("ascii")
    assert "6.6.4 part and conformance" in breaches(pdf, objects)
    assert "6.1.2 header" in breaches(pdf.replace(b"%PDF-1.7", b"%PDF-2.0", 1), objects)
