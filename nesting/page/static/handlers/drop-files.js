import { Handler } from "./handler.js";

/** Files dropped onto a place. */
export class DropFiles extends Handler {
  /** @param {HTMLElement} place @param {(files: File[]) => void} taken */
  constructor(place, taken) {
    super();
    this.place = place;
    this.taken = taken;
  }

  /** @override @param {AbortSignal} signal */
  begin(signal) {
    const over = (/** @type {DragEvent} */ e) => {
      if (!e.dataTransfer?.types.includes("Files")) return;
      e.preventDefault();
      e.dataTransfer.dropEffect = "copy";
      this.place.classList.add("over");
    };
    this.place.addEventListener("dragenter", over, { signal });
    this.place.addEventListener("dragover", over, { signal });
    this.place.addEventListener("dragleave", () => this.place.classList.remove("over"), { signal });
    this.place.addEventListener(
      "drop",
      (e) => {
        e.preventDefault();
        this.place.classList.remove("over");
        const files = [...(e.dataTransfer?.files ?? [])];
        if (files.length) this.taken(files);
      },
      { signal },
    );
  }

  /** @override */
  cancel() {
    this.place.classList.remove("over");
  }
}
