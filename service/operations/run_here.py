"""The parts of a study one after the other, in this process."""

from __future__ import annotations

from service.records.studies import Part, Result, Shared, Study, Tick


class RunHere:
    """Runs studies in this process; see ports.StudyRunner."""

    def run(
        self, study: Study[Shared, Part, Result], *, progress: Tick | None = None
    ) -> list[Result]:
        """The results in the order of the parts; raises what the first part that fails raises."""
        found: list[Result] = []
        done = 0
        for part, step_count in zip(study.parts, study.step_counts, strict=True):

            def tick(steps: int, before: int = done) -> None:
                if progress is not None:
                    progress(before + steps)

            found.append(study.work(study.shared, part, tick))
            done += step_count
        return found
