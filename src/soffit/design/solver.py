"""HiGHS without a word on standard output, one thread, so that the same input runs the same way."""

from typing import Any

import highspy


class _Quiet(highspy.Highs):
    """Its constructor greets on standard output as soon as callbacks are enabled."""

    def enableCallbacks(self) -> None:
        self.silent()
        untyped: Any = super()
        untyped.enableCallbacks()


def quiet_solver(*, seconds: float) -> Any:  # noqa: ANN401 the package is not typed
    """Return an empty HiGHS model that prints nothing and uses one thread.

    Parameters
    ----------
    seconds
        Hard stop against a solver that hangs; counted limits should end the work long before. [s]

    Returns
    -------
    highspy.Highs
        Empty model.
    """
    untyped: Any = _Quiet
    solver = untyped()
    solver.setOptionValue("threads", 1)
    solver.setOptionValue("time_limit", seconds)
    return solver
