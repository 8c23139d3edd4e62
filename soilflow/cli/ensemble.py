"""``soilflow ensemble``: the layouts of a case in many soils, where the soil is not known."""

from __future__ import annotations

import math
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from soilflow.cli.app import app
from soilflow.cli.meter import meter
from soilflow.cli.options import AsJson, CaseFile, Debug, Quiet, ResolutionName, Verbose
from soilflow.cli.reporting import (
    SOME_FAILED,
    aside,
    check_folder_of,
    pick_grid,
    pick_layout,
    reporting,
    show,
    wrote,
)
from soilflow.plain_text import plain

if TYPE_CHECKING:
    from soilflow.files.unknown_soil_run import SoilPlan
    from soilflow.studies.soil_odds import UnknownSoil

__all__ = ["ensemble"]


@app.command()
def ensemble(
    case: CaseFile,
    members: Annotated[int, typer.Option(min=1, help="How many soils are drawn.")] = 64,
    seed: Annotated[int, typer.Option(min=0, help="What they are drawn with.")] = 0,
    sensitivity: Annotated[
        bool,
        typer.Option(
            "--sensitivity", help="Which input matters: needs (inputs + 2) times the soils."
        ),
    ] = False,
    layout: Annotated[
        list[str] | None,
        typer.Option("--layout", metavar="NAME", help="A layout; again for more. All if none."),
    ] = None,
    resolution: Annotated[
        ResolutionName | None, typer.Option(help="How fine the grid is, in place of the case's.")
    ] = None,
    workers: Annotated[
        int | None, typer.Option(min=1, help="Processes on this machine; one a processor.")
    ] = None,
    scheduler: Annotated[
        str | None, typer.Option(metavar="ADDRESS", help="Work on a Dask cluster instead.")
    ] = None,
    folder: Annotated[
        Path | None,
        typer.Option(metavar="FOLDER", help="Where tables and records go; CASE_soils if none."),
    ] = None,
    json: AsJson = False,
    quiet: Quiet = False,
    verbose: Verbose = False,
    debug: Debug = False,
) -> None:
    """Try the layouts in many soils drawn from the ranges of the case.

    \b
    Examples:
      soilflow ensemble house.toml --members 2 --workers 1
      soilflow ensemble house.toml --members 2 --workers 1 --json > odds.json

    A soil that is solved is kept in the folder; the same again goes on where
    it stopped. Writes soils.csv and soils.h5 there. 64 soils or more make
    odds worth having.
    """
    with reporting(case, debug=debug):
        from soilflow.files.job import read_job
        from soilflow.files.unknown_soil_run import plan_soils

        job = read_job(case)
        read = job.case if resolution is None else pick_grid(job.case, resolution)
        names = [pick_layout(read, name).name for name in layout or []] or None
        place = Path(f"{job.stem}_soils") if folder is None else folder
        records = place / "records"
        plan = plan_soils(
            job.text,
            file=str(case),
            members=members,
            seed=seed,
            sensitivity=sensitivity,
            layouts=names,
            resolution=read.resolution,
            folder=records,
        )
        check_folder_of("--folder", place)
        records.mkdir(parents=True, exist_ok=True)
        for note in plan.notes:
            aside(plain(note, also=""))
        study = _work(plan, workers, scheduler, quiet=quiet)
        _tell(study, plan, job.text, place, json=json, quiet=quiet, verbose=verbose)
    if study.failed:
        raise typer.Exit(SOME_FAILED)


def _work(
    plan: SoilPlan, workers: int | None, scheduler: str | None, *, quiet: bool
) -> UnknownSoil:
    from soilflow.files.unknown_soil_run import run_soils
    from soilflow.flow.side_by_side import processors
    from soilflow.studies.workforce import on_cluster, on_this_machine

    count = min(processors() if workers is None else workers, max(plan.left, 1))
    hired = on_this_machine(count) if scheduler is None else on_cluster(scheduler)
    with hired as workforce:
        if not (quiet or plan.left):
            aside(f"0 of {len(plan.tasks)} soils left: all are in the folder")
        elif not quiet:
            seconds = plan.seconds / workforce.workers
            aside(
                f"{plan.left} of {len(plan.tasks)} soils left, about {math.ceil(seconds)} s "
                f"with {workforce.workers} worker{'s' if workforce.workers > 1 else ''} ..."
            )
        with meter("soils", shown=not quiet) as progress:
            return run_soils(plan, workforce, progress=progress)


def _tell(
    study: UnknownSoil,
    plan: SoilPlan,
    text: str,
    place: Path,
    *,
    json: bool,
    quiet: bool,
    verbose: bool,
) -> None:
    from soilflow.files.atomic import replacing
    from soilflow.files.unknown_soil_hdf5 import write_soils
    from soilflow.output.unknown_soil_printout import print_soils, soils_to_csv, soils_to_dict

    paths = [place / "soils.csv", place / "soils.h5"]
    try:
        with replacing(paths[0]) as temporary:
            temporary.write_text(soils_to_csv(study, plan.case), encoding="utf-8")
        write_soils(study, plan.case, text, paths[1])
    finally:  # a full disk must not cost the answer
        show(
            lambda: print_soils(study, plan.case, verbose=verbose),
            lambda: soils_to_dict(study, plan.case),
            json=json,
            quiet=quiet,
        )
    wrote(paths, json=json, quiet=quiet)
