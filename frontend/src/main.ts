// Entry of the workbench's browser code: htmx and our own small modules, one widget each.
import "htmx.org";
import { startBusy } from "./busy.js";
import { startCompletion } from "./complete.js";
import { startDiagram } from "./diagram.js";
import { startDrawing } from "./drawing.js";
import { startEditor, startTaps } from "./editor.js";
import { startFilters } from "./filter.js";
import { keepFocus } from "./focus.js";
import { startGrips } from "./grip.js";
import { keepForms } from "./keep.js";
import { startLeads } from "./leads.js";
import { startLive } from "./live.js";
import { startOutbox } from "./outbox.js";
import { startPad } from "./pad.js";
import { keepInView } from "./view.js";

startBusy(document);
keepFocus(document);
keepForms(document);
startPad(document);
startDiagram(document);
startGrips(document);
startDrawing(document);
startLeads(document);
startEditor(document);
startTaps(document);
startCompletion(document);
startOutbox(document);
startLive(document);
keepInView(document);
startFilters(document);
const viewer = document.querySelector<HTMLElement>("[data-viewer]");
if (viewer) void import("./viewer.js").then((late) => late.startViewer(viewer)); // the plotting library is large
if ("serviceWorker" in navigator && isSecureContext) void navigator.serviceWorker.register("/worker.js").catch(() => undefined);
