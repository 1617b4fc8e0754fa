"""What is assumed of a clip where the session does not state it."""

from calibration.site import Site
from tracker.session import Session


def assumed_words(session: Session, site: Site) -> tuple[str, ...]:
    """Return sentences for what is assumed where the session does not state it."""
    scale = (
        "there is no marker, so gravity is the only scale"
        if not site.markers
        else "the markers do not fix the camera, so gravity helps with the scale"
    )
    taken = []
    if site.lens is None and site.field_of_view_deg is None:
        taken.append("the field of view is taken to be about 65°, as of a phone's main camera")
    if site.position_m is None:
        untaped = not site.picked and not session.release.height_known
        away = "1 to 60 m" if untaped else "8 to 100 m"
        taken.append(
            f"the camera is taken to stand {away} to the side, at a person's height, and to "
            "look roughly across the firing line"
        )
    if not session.release.height_known:
        taken.append("the ball is taken to leave 0.3 to 2 m above the ground on which it lands")
    if not session.bare:
        return (f"{scale}: {'; '.join(taken)}" if taken else scale,)
    return (
        f"no session.toml: {scale}; what you tape goes into a session, which lobmeter new makes, "
        "or the page that lobmeter open shows",
        *taken,
    )
