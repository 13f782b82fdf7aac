// All parts of the page; each listens to what it needs.

import "./link.js";
import "./sounding.js";
import "./transport.js";
