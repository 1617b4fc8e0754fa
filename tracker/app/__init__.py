"""The page: ``lobmeter open``, a local web page over the same functions as the commands.

It is a thin face. It computes nothing, has no file format of its own, and imports no numpy, cv2
or av; whatever it needs to know it gets from `tracker.workflow`, `tracker.session` and
`tracker.results`, as finished facts. NiceGUI is imported here alone, and only when the page is
opened.

**A page** is one module in `tracker.app.pages` that names a `view.Page` ``PAGE``: the last part
of its address, its title, its place in the row of steps, and ``build(view)``. Nothing else needs
to be told of it. A page that has grown past one idea gets helpers in `tracker.app.<page>`.

**`view.View`** is one tab's view of one session, and all that a page needs:

- ``view.look`` (`tracker.workflow.look.Look`): the session, its faults, its shots with decisions,
  as the files are. ``view.on_change(redraw)`` has a function called after every change, of this
  tab, of another, or of another program.
- ``await view.edit("height of release 0.8 m", FieldChange(("release", "height_m"), 0.8))``
  changes ``session.toml`` (comments stay), and ``await view.review("shot 3 rejected", lambda:
  decide_shot(folder, wanted))`` what `tracker.workflow.deciding` changes. Both check first: new
  faults are shown and nothing is written; files that are not as this tab saw them are shown anew
  and not overwritten. Both go into ``edits.jsonl`` beside the session, from which undo and redo
  work, over restarts too.
- ``view.say(words)`` and ``view.complain(error.sentences())`` show notices. A fault is shown with
  the sentence that the command prints. ``await view.attempt(function, …)`` runs something beside
  the page's loop and shows its fault. A notice about a field is given its place,
  ``about=("release", "height_m")``, and stands until that field is accepted; any other goes with
  the next change that is accepted. What settles it without a change calls ``view.settle(place)``.
- ``view.clip_address(n)`` is a clip for a ``<video>`` element (a browser seeks in it, best to the
  middle of a frame); ``view.frame_address(n, index, width_px)`` is one frame as a JPEG file, for
  clips that the browser cannot decode; ``view.result_address(name)`` a file of the results.
- ``view.key("a", "accept the shot", call)``: keys work where nobody is typing, and "?" lists
  them. Whatever a hand repeats has one. ``parts.button(…, key="a")`` shows it.

What has to be computed before a page can be shown goes through ``parts.fill``; a picture that is
drawn in the browser is a `drawn.DrawnPicture`. What the system refuses in
``workspace.in_thread``, as on a full disk, becomes an InputError, which is shown in a sentence.

**Long work** never runs in the server's process: ``view.opened.start("measure", "Measuring",
function, …)`` runs ``function(messenger, …)`` in a worker that imports no page, reports by
``messenger.progress`` and ``messenger.arrived``, and ends when it is cancelled or the server is
gone. What takes more than 50 ms without being long goes through ``workspace.in_thread``.

**Looks**: elements come from `parts`, colours and sizes from ``static/page.css`` (variables;
light and dark). One accent. A sentence before a table. An empty page says what to do. Widths from
360 to 2560 px, in one column of ``--measure``; the keyboard goes through a page in the order in
which it stands. What a person wrote is shown by `parts` or as a property, never put together into
HTML, script or TOML.

**Safety**: `guard` lets in only requests whose path begins with the link's secret, whose Host is
this server's and whose Origin is its own page; `serving` hands out only a session's clips, frames
and results. The page asks nothing of another host.

**Tests** (`tests/app/conftest.py`): ``visit(session, "field")`` opens a page in Chromium and
gives the tab; ``session`` is an unmeasured sample, ``measured`` a measured one, ``narrow_tab`` a
phone's. Every tab is checked afterwards: no script failed, no other host was asked, no cookie was
set.
"""
