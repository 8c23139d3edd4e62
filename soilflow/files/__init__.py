"""Case files: read them with every mistake at once, write them so that they read back equal."""

from soilflow.files.case_toml import parse_case, read_case
from soilflow.files.write_toml import write_case

__all__ = ["parse_case", "read_case", "write_case"]
