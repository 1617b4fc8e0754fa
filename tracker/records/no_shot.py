"""Why a clip yields no shot: the catalogue's entries of whole clips."""

from tracker.records.codes import ReasonCode
from tracker.records.entry import START, Entry

NO_SHOT = {
    ReasonCode.ONLY_REJECTED: Entry(
        "only rejected",
        "no shot was found that counts: the row of the one at {release_s:.2f} s says why it is "
        "rejected, so check that [ball] is the ball that was fired, and accept the row with "
        "lobmeter review where its picture shows a ball",
    ),
    ReasonCode.NOTHING_FALLS: Entry(
        "nothing falls",
        "no shot was found, and nothing in the clip falls as a thrown ball does: is it the right "
        "clip, and does the ball show in it?",
    ),
    ReasonCode.FALLS_SLOWLY: Entry(
        "slow motion?",
        "no shot was found, but something falls so slowly that at life speed it would be "
        "{away:.0f} m away: if it is the ball, the file plays {least:.0f} to {most:.0f} times "
        "slower than life: give its true frame rate, likely {rate_fps:g}, on the page Field, as "
        "--capture-fps {rate_fps:g}, or as capture_fps under [camera] of a session.toml",
    ),
    ReasonCode.NO_PATH_FALLS: Entry(
        "nothing falls",
        "no shot was found: none of the {paths:.0f} paths of moving things in the frame falls as a "
        "thrown ball does: is it the right clip, does it play at life speed (else give its true "
        "frame rate, on the page Field or as --capture-fps), and does the ball show for a quarter "
        "of a second?",
    ),
    ReasonCode.FALLS_BRIEFLY: Entry(
        "seen too briefly",
        "no shot was found, but what falls at {release_s:.2f} s shows for {lasts_s:.2f} s only, in "
        "{frames:.0f} frames, and a throw is measured from {least_s:g} s and {least:.0f} frames "
        "on: film so that more of the flight is in the picture, or at more frames a second",
    ),
    ReasonCode.FALLS_ASLANT: Entry(
        "flies aslant",
        "no shot was found, but what falls at {release_s:.2f} s as a ball nearby does loses or "
        "gains too much speed across the picture: it flies towards the camera or away from it, or "
        "is very fast, so film square across its way and from farther off",
    ),
    ReasonCode.FALLS_AT_CUT: Entry(
        "flight cut",
        "no shot was found, but what falls at {release_s:.2f} s is cut off by the clip's "
        "beginning or end and shows for {lasts_s:.2f} s only: leave half a second before and after "
        "the flight",
    ),
    ReasonCode.CAMERA_UNSTEADY: Entry(
        "camera not followed",
        "no shot was found, and in {percent:.0f} % of the frames the background could not be "
        "followed, so a ball does not stand out from a camera that moves: rest the camera on "
        "something firm, and have what stands still in the picture",
    ),
    ReasonCode.CLIP_TOO_SHORT: Entry(
        "clip too short",
        "no shot was found, and none can be measured in a clip of {lasts_s:.2g} s: a throw is "
        "measured from {least_s:g} s on, so leave half a second before and after the flight",
    ),
    ReasonCode.FRAMES_UNREAD: Entry(
        "frames unread",
        "no shot was found, and {percent:.0f} % of the clip's frames could not be read, or came "
        "damaged: copy the file from the camera again, and where that changes nothing the "
        "recording itself is damaged, so film anew",
    ),
    ReasonCode.FRAMES_FAR_APART: Entry(
        "too few frames a second",
        "no shot was found, and none can be measured in a file whose frames come {apart_s:.2g} s "
        "apart: a ball that flies for two seconds shows in fewer than the {least:.0f} frames that "
        "a throw needs, so film at 24 frames a second or more, and with no time lapse",
    ),
    ReasonCode.NO_THROW_MEASURED: Entry(
        "no throw measured",
        "no shot was found, though what falls from {release_s:.2f} s to {end_s:.2f} s may be a "
        "ball",
    ),
    ReasonCode.LET_GO: Entry(
        "let go",
        "no shot was found, but what falls at {release_s:.2f} s begins at {speed_mps:.1f} m/s: "
        "it was dropped or tossed softly, is another ball than the one stated (--ball), or is no "
        "ball, and a throw is measured from {least_mps:g} m/s on",
    ),
    ReasonCode.ANOTHER_BALL: Entry(
        "another ball?",
        "no shot was found, but what falls at {release_s:.2f} s falls as a ball {least_cm:.0f} to "
        "{most_cm:.0f} cm across does, not as one of {stated_cm:.1f} cm: name the ball that was "
        "thrown: on the page Field, with --ball, or as type under [ball] of a session.toml",
    ),
    ReasonCode.CAMERA_PRESUMED: Entry(
        "camera's place unknown",
        "the camera's place is only presumed: tape it, and give it on the page Field, or as "
        "position_m under [camera] of a session.toml",
    ),
    ReasonCode.FALLS_OTHERWISE: Entry(
        "falls otherwise",
        "no shot was found, and what falls at {release_s:.2f} s does not fall as a ball does "
        "before this camera: were the markers' pixels picked on this clip, at its full size, is "
        "the ball in it, and did wind of several metres a second blow that [air] lacks "
        "(wind_along_mps, wind_across_mps and wind_u_mps)?",
    ),
    ReasonCode.TAPED_IN_FEET: Entry(
        "feet?",
        "no shot was found, but a ball falls as gravity requires if the markers were taped in "
        "feet: multiply ground_m of every [[marker]], and position_m under [camera] if it was "
        "taped in feet too, by 0.3048",
    ),
    ReasonCode.PLAYS_SLOWLY: Entry(
        "slow motion?",
        "no shot was found, but a ball falls as gravity requires if the clip was filmed at "
        "{rate_fps:g} frames a second, not {assumed_fps:.4g}: write capture_fps = {rate_fps:g} "
        "under [camera]",
    ),
    ReasonCode.PLAYS_AT_LIFE_SPEED: Entry(
        "life speed?",
        "no shot was found, but a ball falls as gravity requires if the file plays at life speed: "
        "take capture_fps under [camera] out",
    ),
    ReasonCode.FLIES_BACKWARD: Entry(
        "against the firing line",
        "no shot was found, but a ball flies against the firing line (azimuth {azimuth_deg:.0f}°), "
        f"from {START}: in ground_m of every [[marker]] and in position_m under [camera], count "
        "along from the foot of the release in the direction of the shots, and across to the left "
        "of it",
    ),
    ReasonCode.RELEASE_HEIGHT: Entry(
        "height of the release",
        "no shot was found, but a ball starts {up:pm} m above the ground, not {height_m:g} m: "
        "correct height_m under [release]",
    ),
    ReasonCode.RELEASE_ELSEWHERE: Entry(
        "release elsewhere",
        f"no shot was found, but a ball starts {START}, not at the release: correct along_m and "
        "across_m under [release], or ground_m of the markers, which counts from the foot of the "
        "release, or use --from-anywhere",
    ),
    ReasonCode.ONLY_END_SEEN: Entry(
        "only the end of a flight",
        f"no shot was found, but the end of a flight shows, from {START} on: before it the ball "
        "hardly stands out, so film from nearer, or before what differs from it",
    ),
    ReasonCode.MARKERS_MISTAKEN: Entry(
        "mistake in the markers",
        "no shot was found, and what is stated of the camera contradicts itself",
    ),
    ReasonCode.PICKED_ELSEWHERE: Entry(
        "camera moved?",
        "no shot was found, and the markers' pixels seem to be those of another view, so pick them "
        "anew for this clip",
    ),
    ReasonCode.MARKERS_DISAGREE: Entry(
        "markers of another clip?",
        "no shot was found, and the markers do not agree with each other: were they picked on a "
        "frame of this clip, with the camera where it was taped?",
    ),
}
