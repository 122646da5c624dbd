"""Write the pages of keys and settings and the JSON Schemas: run it after a change of models."""

from pathlib import Path

from soffit.job.reference import reference_page, settings_page
from soffit.job.schemas import NAMES, schema_text

HERE = Path(__file__).resolve().parent


def main() -> None:
    (HERE / "reference").mkdir(exist_ok=True)
    (HERE / "reference" / "job-file.md").write_text(reference_page(), encoding="utf-8")
    (HERE / "reference" / "settings.md").write_text(settings_page(), encoding="utf-8")
    folder = HERE.parent / "src" / "soffit" / "job" / "schemas_json"
    folder.mkdir(exist_ok=True)
    for name in NAMES:
        (folder / f"{name}.schema.json").write_text(schema_text(name), encoding="utf-8")


if __name__ == "__main__":
    main()
