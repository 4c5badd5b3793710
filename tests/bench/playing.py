"""Frames a second while the page of a long job plays, against the frames of the same page at rest."""

import json
import re
import shutil
import subprocess
import sys
import tempfile
import threading
from http.server import BaseHTTPRequestHandler, HTTPServer
from pathlib import Path

ROWS = 1_000_000
SECONDS = 4
COUNT = f"""
(async () => {{
  const frames = async () => {{
    const start = performance.now();
    let n = 0;
    while (performance.now() - start < {SECONDS}e3) {{ await new Promise(requestAnimationFrame); n++; }}
    return n;
  }};
  const one = id => document.getElementById(id);
  await frames();
  const still = await frames(), first = job.now;
  one("speed").value = "100"; one("play").click();
  const played = await frames();
  const found = {{still, played, rows: job.last + 1, moved: job.now - first}};
  await fetch("/done", {{method: "POST", body: JSON.stringify(found)}});
}})();
"""


def page(folder):
    """Return the page of a job of so many rows: two hundred long cuts."""
    lines = ["G21 G54 G90 G17", "G00 X0 Y0 Z80."]
    lines += [f"G01 X{100 - 200 * (k % 2)} Y{k - 100} A{3 * (k % 3)} F2400" for k in range(200)]
    (folder / "long.nc").write_text("\n".join([*lines, "M30", ""]))
    words = ["convert", "long.nc", "--out", "job", "--no-proof", "-q"]
    subprocess.run([sys.executable, "-m", "hexpost", *words], cwd=folder, check=False)
    text = (folder / "job" / "report.html").read_text()
    return re.sub(r'<meta http-equiv="Content-Security-Policy"[^>]*>', "", text)


def playing_frames():
    """Return the frames a second in motion over those at rest, in a browser with a window of a desktop."""
    said, done = {}, threading.Event()

    class Answer(BaseHTTPRequestHandler):
        def do_GET(self):
            self.send_response(200)
            self.send_header("Content-Type", "text/html")
            self.end_headers()
            self.wfile.write(text if self.path == "/" else b"")

        def do_POST(self):
            said.update(json.loads(self.rfile.read(int(self.headers["Content-Length"]))))
            done.set()

        def log_message(self, *_):
            pass

    browser = shutil.which("chromium") or shutil.which("chromium-browser") or shutil.which("google-chrome")
    with tempfile.TemporaryDirectory() as name, HTTPServer(("127.0.0.1", 0), Answer) as server:
        folder = Path(name)
        text = page(folder).replace("</body>", f"<script>{COUNT}</script></body>").encode()
        threading.Thread(target=server.serve_forever, daemon=True).start()
        options = ["--headless", "--no-sandbox", "--disable-gpu", "--no-first-run", "--window-size=1280,900",
                   "--remote-debugging-port=0", f"--user-data-dir={folder / 'user'}"]  # fmt: skip
        address = f"http://127.0.0.1:{server.server_port}/"
        process = subprocess.Popen([browser, *options, address], stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
        try:
            done.wait(20 * SECONDS)
        finally:
            process.terminate()
            process.wait()
            server.shutdown()
    assert said["rows"] > ROWS and said["moved"] > 0, said
    return {"ratio": said["played"] / said["still"], "unit": "frames a second in motion over frames at rest",
            "frames_a_second": said["played"] / SECONDS, "rows": said["rows"]}  # fmt: skip
