// Files go to the laptop: each with its progress, and each may be stopped. True where it arrived.
export function send(url, file, fields) {
  const row = document.createElement("li"), bar = document.createElement("progress"), stop = document.createElement("button"), words = document.createElement("span");
  bar.max = 1; bar.value = 0; bar.setAttribute("aria-label", `how much of ${file.name} was sent`);
  stop.type = "button"; stop.className = "quiet"; stop.textContent = "Stop"; words.textContent = `${file.name} `;
  row.append(words, bar, " ", stop);
  document.getElementById("uploads").append(row);
  const data = new FormData(), request = new XMLHttpRequest();
  data.append("file", file);
  for (const [name, value] of Object.entries(fields)) data.append(name, value);
  return new Promise((resolve) => {
    request.upload.onprogress = (event) => { bar.value = event.loaded / event.total; };
    request.onloadend = () => {
      bar.remove(); stop.remove();
      let told = {};
      try { told = JSON.parse(request.responseText); } catch { /* stopped, or the laptop was lost */ }
      const lost = request.status === 0 ? "it did not arrive; send it again" : "stopped";
      words.textContent = `${file.name}: ${[].concat(told.says || lost).join(" ")}`;
      if (request.status !== 200) row.className = "wrong";
      resolve(request.status === 200);
    };
    stop.onclick = () => request.abort();
    request.open("POST", url); request.send(data);
  });
}
// Files that are chosen or dropped anywhere on the page.
export function files(input, takes) {
  const at = document.getElementById(input);
  if (!at) return;
  at.addEventListener("change", async () => { await takes([...at.files]); at.value = ""; });
  addEventListener("dragover", (event) => event.preventDefault());
  addEventListener("drop", (event) => { event.preventDefault(); if (event.dataTransfer.files.length) takes([...event.dataTransfer.files]); });
}
