"""What is assumed of a clip where nobody wrote it down."""

from calibration.site import Site
from tracker.session import Session


def assumed_words(session: Session, site: Site) -> tuple[str, ...]:
    """Say what is taken for granted where it was not written down."""
    who = "no session.toml" if session.bare else "what is written down"
    scale = (
        "there is no marker, so gravity is the only scale"
        if not site.markers
        else "the markers do not fix the camera, so gravity helps with the scale"
    )
    taken = []
    if session.bare:
        taken.append(f"the ball is taken to be {session.ball.type} (--ball for another)")
    if site.lens is None and site.field_of_view_deg is None:
        taken.append("the camera is taken to see about 65° across, as a phone's main camera does")
    if site.position_m is None:
        taken.append(
            "it is taken to stand 8 to 100 m to the side, at the height of a person, looking "
            "roughly across the line of fire"
        )
    if not session.release.height_told:
        taken.append("the ball is taken to leave 0.3 to 2 m above the ground on which it lands")
    if not session.bare:
        return (f"{scale}: {'; '.join(taken)}" if taken else scale,)
    return (f"{who}: {scale}", *taken)
