// Entry of the workbench's browser code: htmx, its server-sent events, and our own small modules.
import "htmx.org";
import "htmx.org/dist/ext/hx-sse.js";
import { keepFocus } from "./focus.js";

keepFocus(document);
