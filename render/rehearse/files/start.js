// All parts of the page; each listens to what it needs.

import "./link.js";
import "./sounding.js";
import "./transport.js";
import "./music.js";
import "./entries.js";
import "./hands.js";
import "./offers.js";
import "./forms.js";
import "./remarks.js";
import "./states.js";
import "./keys.js";
import "./text.js";
import "./tapping.js";
