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
        if ([403, 404, 413, 422, 507].includes(answer.status)) throw Object.assign(new Error(await answer.text()), { final: true });
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
        continue;
      }
      progress(offset);
    }
    return place.split("/").pop();
  }

  // A line for a clip: its words are read out when they change, its percentage is not.
  function line(list, name) {
    const row = document.createElement("p");
    const words = document.createElement("span"), share = document.createElement("span");
    const bar = document.createElement("progress");
    words.textContent = name;
    share.setAttribute("aria-hidden", "true");
    bar.max = 1;
    bar.value = 0;
    bar.setAttribute("aria-label", name);
    row.append(words, share, " ", bar);
    list.append(row);
    const say = (more) => {
      const said = !more ? name : more.startsWith(name) ? more : `${name}: ${more}`;
      if (words.textContent !== said) words.textContent = said;
    };
    return {
      go(part, more) {
        bar.value = part;
        share.textContent = ` ${Math.floor(100 * part)} %`;
        say(more);
      },
      end(more) {
        share.remove();
        bar.remove();
        say(more);
      },
    };
  }

  // A folder's files, however deep; what the browser gives for a folder itself cannot be read.
  async function filesOf(transfer) {
    const entries = [...transfer.items].map((item) => item.webkitGetAsEntry?.()).filter(Boolean);
    if (!entries.length) return [...transfer.files];
    const found = [];
    const walk = async (entry) => {
      if (entry.isFile) {
        found.push(await new Promise((done, failed) => entry.file(done, failed)));
        return;
      }
      const reader = entry.createReader();
      for (;;) {
        const some = await new Promise((done, failed) => reader.readEntries(done, failed));
        if (!some.length) return;
        for (const each of some) await walk(each);
      }
    };
    for (const entry of entries) await walk(entry);
    return found;
  }

  const FILM = /\.(mp4|mov|m4v|mkv|avi|webm|mts)$/i;
  const isFilm = (file) => file.type.startsWith("video/") || FILM.test(file.name);
  const byTime = (one, other) => one.lastModified - other.lastModified;

  // What comes while others are sent joins them: it is one evening.
  async function sendAll(zone, files) {
    const films = files.filter(isFilm).sort(byTime), others = files.filter((file) => !isFilm(file));
    const list = zone.querySelector(".sent");
    zone.waiting = [...(zone.waiting || []), ...films];
    if (!zone.dataset.busy) list.replaceChildren();
    if (others.length) {
      const left = document.createElement("p");
      const packed = others.some((file) => /\.(zip|7z|rar|tar|gz)$/i.test(file.name));
      const unpack = packed ? " What is packed must be unpacked first: then drop the films in it." : "";
      left.textContent = others.length === 1
        ? `${others[0].name} is no film; it is left out.${unpack}`
        : `${others.length} files are no films; they are left out.${unpack}`;
      list.append(left);
    }
    if (zone.dataset.busy || !films.length) return;
    zone.dataset.busy = "yes";
    const keys = [];
    while (zone.waiting.length) {
      const file = zone.waiting.shift();
      const show = line(list, file.name);
      try {
        const key = await send(file, zone.dataset.into, (offset, more) => show.go(offset / file.size, more));
        show.end("it is here.");
        keys.push(key);
      } catch (error) {
        show.end(error.message || String(error));
      }
    }
    delete zone.dataset.busy;
    if (keys.length) window.tellServer("lobmeter-sent", { keys, into: zone.dataset.into });
  }

  // Whoever leaves while a clip is sent is asked; what has come is kept either way.
  window.addEventListener("beforeunload", (event) => {
    if (document.querySelector(".drop[data-busy]")) event.preventDefault();
  });
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
  document.addEventListener("drop", async (event) => {
    event.preventDefault();
    const zone = event.target.closest?.(".drop") || document.querySelector(".drop");
    if (!zone) return;
    zone.classList.remove("over");
    sendAll(zone, await filesOf(event.dataTransfer));
  });
})();
