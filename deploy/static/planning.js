// The planning page. What the server drew stays the truth: every script here reads the board from
// the page, asks the server before anything is final, and has a row drawn again after a change.
//
//   planning_board.js   where things lie: blocks, tracks, the scale of time
//   planning_rules.js   whether a visit can lie somewhere, from what the page knows (at once)
//   planning_move.js    one visit in hand: where it would go, dropping it, undoing
//   planning_pointer.js taking it in hand by mouse and by finger
//   planning_keys.js    the same by keyboard and by the buttons of the moving bar
//   planning_news.js    what other people change meanwhile
//   planning_sheet.js   the sheet about one visit
//   planning_zoom.js    how long an hour is drawn
//   planning_say.js     telling it: to the eye, and to a screen reader
import { listenToKeys } from "./planning_keys.js";
import { listenToNews } from "./planning_news.js";
import { listenToPointer } from "./planning_pointer.js";
import { listenToSheet } from "./planning_sheet.js";
import { listenToZoom } from "./planning_zoom.js";

if (document.getElementById("board")) {
  document.body.classList.add("has-script");
  listenToPointer();
  listenToKeys();
  listenToNews();
  listenToSheet();
  listenToZoom();
}
