"""What every report warns of, in few words; none of it is a safety function."""

DEMONSTRATION = (
    "DEMONSTRATION MACHINE: it is invented and does not exist. NO REAL MACHINE MAY RUN THIS OUTPUT. "
    "Give the file of your own machine with --machine."
)

_LIMITS_ONLY = (
    "A clean report says only that the limits of the machine file hold along the programmed path. It knows nothing of "
    "collisions, fixtures, a wrong work offset, a worn or wrong tool, or a machine that differs from its file."
)
_PROVE = (
    "Prove the program before you cut. Check units, offsets and tool data. Run it dry above the work with guards shut, "
    "block by block, overrides low, a hand at feed hold. Then cut a first part."
)
_OTHERS_FIRST = (
    "The machine builder's manual, the rules of your workshop and local law come first. Only people qualified for this "
    "machine should run the job, and they answer for it. Nothing here is a safety function."
)


def cautions(*, demonstration: bool) -> tuple[str, ...]:
    """Return the cautions of a job, the loudest first (common practice in workshops, no source)."""
    always = (_LIMITS_ONLY, _PROVE, _OTHERS_FIRST)
    return (DEMONSTRATION, *always) if demonstration else always
