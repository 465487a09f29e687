import "../shell.js";
