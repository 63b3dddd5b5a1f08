//! A headless browser that a test drives as a person would use a phone: over a pipe, by the
//! browser's own debugging protocol.

use std::io::{BufRead, BufReader, Write};
use std::path::{Path, PathBuf};
use std::process::{Child, ChildStdin, Command, Stdio};
use std::sync::mpsc::{Receiver, channel};
use std::time::{Duration, Instant};

use base64::Engine;
use serde_json::{Value, json};

/// A browser with one page open, as large as a phone's.
pub struct Browser {
    child: Child,
    to: ChildStdin,
    from: Receiver<Value>,
    session: String,
    count: u64,
    /// What the page complained of on its console.
    pub complaints: Vec<String>,
    _profile: tempfile::TempDir,
}

const PATIENCE: Duration = Duration::from_secs(120);

impl Browser {
    pub fn open(address: &str) -> Self {
        let profile = tempfile::tempdir().unwrap();
        // The protocol's pipes are the third and fourth descriptor, which only a shell gives
        // without unsafe code.
        let line = format!(
            "exec chromium --headless --no-sandbox --disable-gpu --disable-quic --no-first-run --disable-background-networking \
             --disable-component-update --disable-sync --hide-scrollbars --proxy-server=direct:// --user-data-dir='{}' \
             --remote-debugging-pipe about:blank 3<&0 4>&1 </dev/null >/dev/null 2>/dev/null",
            profile.path().display()
        );
        let mut child = Command::new("sh")
            .args(["-c", &line])
            .stdin(Stdio::piped())
            .stdout(Stdio::piped())
            .spawn()
            .expect("a shell");
        let (to, out) = (child.stdin.take().unwrap(), child.stdout.take().unwrap());
        let (tell, from) = channel();
        std::thread::spawn(move || {
            let mut out = BufReader::new(out);
            let mut message = Vec::new();
            while out.read_until(0, &mut message).is_ok_and(|n| n > 0) {
                message.pop();
                let Ok(value) = serde_json::from_slice(&message) else { break };
                message.clear();
                if tell.send(value).is_err() {
                    break;
                }
            }
        });
        let mut browser = Self {
            child,
            to,
            from,
            session: String::new(),
            count: 0,
            complaints: Vec::new(),
            _profile: profile,
        };
        let target =
            browser.call("Target.createTarget", json!({ "url": "about:blank" }))["targetId"]
                .clone();
        let attached =
            browser.call("Target.attachToTarget", json!({ "targetId": target, "flatten": true }));
        browser.session = attached["sessionId"].as_str().unwrap().to_owned();
        for domain in ["Page", "Runtime", "Log", "DOM"] {
            browser.call(&format!("{domain}.enable"), json!({}));
        }
        let phone = json!({ "width": 390, "height": 844, "deviceScaleFactor": 2, "mobile": true });
        browser.call("Emulation.setDeviceMetricsOverride", phone);
        browser.go_to(address);
        browser
    }

    pub fn go_to(&mut self, address: &str) {
        self.call("Page.navigate", json!({ "url": address }));
        self.wait_for("document.readyState === 'complete'");
    }

    /// Calls a method of the protocol and gives its result.
    fn call(&mut self, method: &str, parameters: Value) -> Value {
        self.count += 1;
        let mut message = json!({ "id": self.count, "method": method, "params": parameters });
        if !self.session.is_empty() {
            message["sessionId"] = json!(self.session);
        }
        self.to.write_all(format!("{message}\0").as_bytes()).expect("the browser listens");
        loop {
            let told = self.from.recv_timeout(PATIENCE).unwrap_or_else(|e| panic!("{method}: {e}"));
            if told["id"] == json!(self.count) {
                assert!(told.get("error").is_none(), "{method}: {told}");
                return told["result"].clone();
            }
            match told["method"].as_str() {
                Some("Log.entryAdded") => self.complaints.push(told["params"]["entry"].to_string()),
                Some("Runtime.exceptionThrown") => self.complaints.push(told["params"].to_string()),
                _ => {}
            }
        }
    }

    /// The value of an expression in the page.
    pub fn value(&mut self, expression: &str) -> Value {
        let asked =
            json!({ "expression": expression, "returnByValue": true, "awaitPromise": true });
        let told = self.call("Runtime.evaluate", asked);
        assert!(told.get("exceptionDetails").is_none(), "{expression}: {told}");
        told["result"]["value"].clone()
    }

    pub fn text(&mut self, selector: &str) -> String {
        let told = self.value(&format!(
            "[...document.querySelectorAll({})].map(e => e.textContent).join('|')",
            json!(selector)
        ));
        told.as_str().unwrap_or_default().to_owned()
    }

    /// Waits until an expression is true.
    pub fn wait_for(&mut self, expression: &str) {
        let begun = Instant::now();
        while self.value(expression) != json!(true) {
            let page =
                if begun.elapsed() > PATIENCE { self.text("main, [role]") } else { String::new() };
            assert!(begun.elapsed() < PATIENCE, "never came: {expression}\n{page}");
            std::thread::sleep(Duration::from_millis(100));
        }
    }

    /// Chooses files in a file input, as a person does in the phone's own dialog.
    pub fn choose(&mut self, selector: &str, files: &[PathBuf]) {
        let root = self.call("DOM.getDocument", json!({}))["root"]["nodeId"].clone();
        let node = self.call("DOM.querySelector", json!({ "nodeId": root, "selector": selector }))
            ["nodeId"]
            .clone();
        self.call("DOM.setFileInputFiles", json!({ "files": files, "nodeId": node }));
    }

    pub fn click(&mut self, selector: &str) {
        self.value(&format!("document.querySelector({}).click()", json!(selector)));
    }

    pub fn dark(&mut self, dark: bool) {
        let scheme = if dark { "dark" } else { "light" };
        let features = json!({ "features": [{ "name": "prefers-color-scheme", "value": scheme }] });
        self.call("Emulation.setEmulatedMedia", features);
    }

    /// Leaves a picture of the screen for a person to look at; `whole` of the page from top to
    /// bottom.
    pub fn shoot(&mut self, name: &str, whole: bool) {
        let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("target/bench-page");
        std::fs::create_dir_all(&folder).unwrap();
        let told = self.call(
            "Page.captureScreenshot",
            json!({ "format": "png", "captureBeyondViewport": whole }),
        );
        let bytes = base64::engine::general_purpose::STANDARD
            .decode(told["data"].as_str().unwrap())
            .unwrap();
        std::fs::write(folder.join(format!("{name}.png")), bytes).unwrap();
    }

    /// Nothing is wider than the phone, no letters are smaller than 16 px, no target is too small
    /// for a thumb; and letters stand out from their ground in the sun and in the dark.
    pub fn check_layout(&mut self, state: &str) {
        for dark in [true, false] {
            self.dark(dark);
            self.check_colours(&format!("{state}, dark: {dark}"));
        }
        self.check_sizes(state);
    }

    /// Every letter's colour and its ground differ as WCAG 2 asks for: 4.5 to 1.
    fn check_colours(&mut self, state: &str) {
        let told = self.value(
            r#"(() => {
              const seen = e => { const r = e.getBoundingClientRect(); return r.width > 1 && r.height > 1; };
              const parts = text => (text.match(/[\d.]+/g) || []).map(Number);
              const light = ([r, g, b]) => [r, g, b].map(x => x / 255).map(x => x <= 0.04045 ? x / 12.92 : ((x + 0.055) / 1.055) ** 2.4)
                .reduce((sum, x, i) => sum + x * [0.2126, 0.7152, 0.0722][i], 0);
              const ground = e => {
                for (let at = e; at; at = at.parentElement) {
                  const c = parts(getComputedStyle(at).backgroundColor);
                  if (c.length === 3 || c[3] > 0) return c;
                }
                return [255, 255, 255];
              };
              const all = [...document.querySelectorAll("body *")].filter(seen).filter(e => !e.closest("button:disabled, .ticked"))
                .filter(e => [...e.childNodes].some(n => n.nodeType === 3 && n.textContent.trim()));
              return all.map(e => {
                const style = getComputedStyle(e);
                const [a, b] = [light(parts(e.closest("svg") ? style.fill : style.color)), light(ground(e))];
                const ratio = (Math.max(a, b) + 0.05) / (Math.min(a, b) + 0.05);
                return ratio < 4.5 ? `${ratio.toFixed(2)} ${e.textContent.trim().slice(0, 30)}` : "";
              }).filter(text => text);
            })()"#,
        );
        assert_eq!(told, json!([]), "{state}");
    }

    fn check_sizes(&mut self, state: &str) {
        let told = self.value(
            r#"(() => {
              const seen = e => { const r = e.getBoundingClientRect(); return r.width > 1 && r.height > 1; };
              const all = [...document.querySelectorAll("body *")].filter(seen);
              const name = e => `${e.tagName}.${e.getAttribute("class") || e.id} "${e.textContent.slice(0, 30)}"`;
              const letters = all.filter(e => [...e.childNodes].some(n => n.nodeType === 3 && n.textContent.trim()));
              const scale = e => e.closest("svg") ? e.closest("svg").getBoundingClientRect().width / e.closest("svg").viewBox.baseVal.width : 1;
              return {
                wide: document.documentElement.scrollWidth,
                beyond: all.filter(e => e.getBoundingClientRect().right > 390.5).map(name),
                small: letters.filter(e => parseFloat(getComputedStyle(e).fontSize) * scale(e) < 15.95).map(name),
                narrow: all.filter(e => e.matches("button, summary, label, a, input[type=checkbox]")).filter(e => e.getBoundingClientRect().height < 48).map(name),
              };
            })()"#,
        );
        assert_eq!(
            told,
            json!({ "wide": 390, "beyond": [], "small": [], "narrow": [] }),
            "{state}"
        );
    }
}

impl Drop for Browser {
    fn drop(&mut self) {
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}
