// Sends clips in pieces (tus 1.0.0): a piece that fails is sent again from where the server stands.
(() => {
  const PIECE = 4 * 1024 * 1024;
  const TUS = { "Tus-Resumable": "1.0.0" };
  const prefix = () => window.path_prefix || "";
  const base64 = (text) => btoa(String.fromCharCode(...new TextEncoder().encode(text)));
  const pause = (ms) => new Promise((done) => setTimeout(done, ms));

  async function announce(file, into) {
    const said = { filename: file.name, modified: String(file.lastModified), into };
    const metadata = Object.entries(said).map(([name, value]) => `${name} ${base64(value)}`);
    const answer = await fetch(`${prefix()}/upload`, {
      method: "POST",
      headers: { ...TUS, "Upload-Length": file.size, "Upload-Metadata": metadata.join(",") },
    });
    if (!answer.ok) throw new Error(await answer.text());
    return [answer.headers.get("Location"), Number(answer.headers.get("Upload-Offset"))];
  }

  async function send(file, into, progress) {
    let [place, offset] = await announce(file, into);
    let failures = 0;
    progress(offset);
    while (offset < file.size) {
      try {
        const answer = await fetch(place, {
          method: "PATCH",
          headers: {
            ...TUS,
            "Content-Type": "application/offset+octet-stream",
            "Upload-Offset": offset,
          },
          body: file.slice(offset, offset + PIECE),
        });
        if ([404, 422].includes(answer.status)) throw Object.assign(new Error(await answer.text()), { final: true });
        if (!answer.ok) throw new Error(await answer.text());
        offset = Number(answer.headers.get("Upload-Offset"));
        failures = 0;
      } catch (error) {
        failures += 1;
        if (error.final || failures > 12) throw error;
        progress(offset, "The connection is interrupted; it goes on by itself.");
        await pause(Math.min(300 * 2 ** failures, 10000));
        try {
          const state = await fetch(place, { method: "HEAD", headers: TUS });
          if (state.ok) offset = Number(state.headers.get("Upload-Offset"));
        } catch (_) { /* still away: the next round tries again */ }
      }
      progress(offset);
    }
    return place.split("/").pop();
  }

  function line(list, name) {
    const row = document.createElement("p");
    const words = document.createElement("span");
    const bar = document.createElement("progress");
    words.textContent = name;
    bar.max = 1;
    bar.value = 0;
    bar.setAttribute("aria-label", name);
    row.append(words, " ", bar);
    list.append(row);
    return (share, more) => {
      bar.value = share;
      words.textContent = more ? `${name}: ${more}` : `${name}: ${Math.floor(100 * share)} %`;
    };
  }

  async function sendAll(zone, files) {
    if (!files.length || zone.dataset.busy) return;
    zone.dataset.busy = "yes";
    const list = zone.querySelector(".sent");
    list.replaceChildren();
    const keys = [];
    for (const file of files) {
      const show = line(list, file.name);
      try {
        const key = await send(file, zone.dataset.into, (offset, more) => show(offset / file.size, more));
        show(1, "it is here.");
        keys.push(key);
      } catch (error) {
        show(0, error.message || String(error));
      }
    }
    delete zone.dataset.busy;
    if (keys.length) window.tellServer("lobmeter-sent", { keys, into: zone.dataset.into });
  }

  document.addEventListener("change", (event) => {
    const zone = event.target.closest?.(".drop");
    if (!zone || event.target.type !== "file") return;
    sendAll(zone, [...event.target.files]);
    event.target.value = "";
  });
  document.addEventListener("dragover", (event) => {
    event.preventDefault();
    event.target.closest?.(".drop")?.classList.add("over");
  });
  document.addEventListener("dragleave", (event) => event.target.closest?.(".drop")?.classList.remove("over"));
  document.addEventListener("drop", (event) => {
    event.preventDefault();
    const zone = event.target.closest?.(".drop") || document.querySelector(".drop");
    if (!zone) return;
    zone.classList.remove("over");
    sendAll(zone, [...event.dataTransfer.files]);
  });
})();
