// A site that is opened as a file may start no worker (its pages have an origin of their own each), and the theme
// hides its search then. So here the search's script runs in a frame without content, which is asked as a worker is.
if (location.protocol === "file:") {
  window.Worker = class extends EventTarget {
    constructor(script) {
      super();
      const frame = document.createElement("iframe");
      frame.hidden = true;
      document.body.append(frame);
      const inside = frame.contentWindow;
      inside.document.open();
      inside.document.write("<!doctype html><title>Search</title>");
      inside.document.close();
      inside.postMessage = (data) => this.dispatchEvent(new MessageEvent("message", { data }));
      const loaded = new Promise((done) => {
        const part = inside.document.createElement("script");
        part.src = script;
        part.addEventListener("load", done);
        inside.document.head.append(part);
      });
      this.postMessage = (data) => {
        loaded.then(() => inside.dispatchEvent(new MessageEvent("message", { data })));
      };
    }
  };
}
