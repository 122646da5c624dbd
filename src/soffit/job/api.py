"""Everything that ``work`` calls, under one name."""

from soffit.job.archive import unzip_job, zip_job
from soffit.job.catalogue import (
    catalogue_as_dict,
    load_demo_catalogue,
    merged,
    parse_catalogue,
    read_catalogue,
)
from soffit.job.create import TEMPLATES, create_job, job_to_toml, template_text
from soffit.job.design_file import canonical_design, design_text, parse_design
from soffit.job.edit import Edit, edit_survey, edited_text
from soffit.job.edit_both import edit_survey_and_design
from soffit.job.history import HistoryEntry, read_history, undoable
from soffit.job.locate import parse_path, path_text
from soffit.job.parse import ParsedJob, parse_job
from soffit.job.read import open_job, read_job
from soffit.job.readings_file import parse_readings, reading_text, standing
from soffit.job.write import (
    append_readings,
    check_survey_text,
    redo,
    replace_survey_text,
    undo,
    write_design,
)

__all__ = [
    "TEMPLATES",
    "Edit",
    "HistoryEntry",
    "ParsedJob",
    "append_readings",
    "canonical_design",
    "catalogue_as_dict",
    "check_survey_text",
    "create_job",
    "design_text",
    "edit_survey",
    "edit_survey_and_design",
    "edited_text",
    "job_to_toml",
    "load_demo_catalogue",
    "merged",
    "open_job",
    "parse_catalogue",
    "parse_design",
    "parse_job",
    "parse_path",
    "parse_readings",
    "path_text",
    "read_catalogue",
    "read_history",
    "read_job",
    "reading_text",
    "redo",
    "replace_survey_text",
    "standing",
    "template_text",
    "undo",
    "undoable",
    "unzip_job",
    "write_design",
    "zip_job",
]
