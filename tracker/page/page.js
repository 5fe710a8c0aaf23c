// Fills the live page in, once a second while somebody looks. Texts are set as texts, never as
// markup.
(function () {
  "use strict";
  var token = new URLSearchParams(location.search).get("token") || "";
  var points = [];       // [t_s, position]
  var edition = "";
  var label = "";
  var unit = { name: "s", s: 1 };  // of time in the chart
  var shownEvents = [];  // of the chart
  var chart = null;
  var picture = 0;
  var loading = false;
  var heard = null;
  var busy = false;
  var timer = 0;

  function element(id) { return document.getElementById(id); }

  function address(path, more) {
    var query = new URLSearchParams(more || {});
    if (token) { query.set("token", token); }
    return path + "?" + query.toString();
  }

  function ask(path, more) {
    var patience = AbortSignal.timeout ? { signal: AbortSignal.timeout(8000) } : {};
    return fetch(address(path, more), patience)
      .then(function (response) {
        if (response.ok) { return response.json(); }
        return response.text().then(function (text) { throw new Error(text.trim()); });
      });
  }

  function made(name, text) {
    var one = document.createElement(name);
    one.textContent = text;
    return one;
  }

  function fillPairs(list, pairs) {
    list.replaceChildren();
    pairs.forEach(function (pair) { list.append(made("dt", pair[0]), made("dd", pair[1])); });
  }

  function clock(utc) {
    return new Date(utc).toLocaleTimeString([], { hour: "2-digit", minute: "2-digit" });
  }

  function eventLine(event) {
    var line = document.createElement("li");
    if (event.utc) {
      var time = made("time", clock(event.utc));
      time.dateTime = event.utc;
      line.append(time);
    }
    line.append(made("strong", event.event), event.detail ? ": " + event.detail : "");
    return line;
  }

  // A list that has not changed is left alone, so that it can be read and selected.
  function fillIfOther(list, data, fill) {
    var now = JSON.stringify(data);
    if (list.dataset.shown === now) { return; }
    list.dataset.shown = now;
    fill();
  }

  function showState(state) {
    var headline = element("headline");
    headline.textContent = state.headline;
    headline.classList.toggle("ill", !state.well);
    fillPairs(element("value-list"), state.values);
    element("values").hidden = state.values.length === 0;
    element("estimate-text").textContent = state.estimate_text;
    fillPairs(element("estimate-values"), state.estimate);
    element("estimate").hidden = !state.estimate_text && state.estimate.length === 0;
    var warnings = element("warning-list");
    fillIfOther(warnings, state.warnings, function () {
      warnings.replaceChildren.apply(warnings, state.warnings.map(function (text) {
        return made("li", text);
      }));
    });
    element("warnings").hidden = state.warnings.length === 0;
    var events = element("event-list");
    fillIfOther(events, state.events, function () {
      events.replaceChildren.apply(events, state.events.map(eventLine));
    });
    element("events").hidden = state.events.length === 0;
    shownEvents = state.events.filter(function (event) {
      return event.event === "side" && event.t_s !== null;
    }).map(function (event) {
      return { t_s: event.t_s, event: "sources at " + event.detail };
    });
    if (element("mark")) {
      element("mark").hidden = !state.may_mark;
      element("no-mark").hidden = state.may_mark;
    }
    showPicture(state.picture);
  }

  function showPicture(number) {
    if (number === 0 || number === picture || loading) { return; }
    picture = number;
    loading = true;
    element("picture").src = address("picture.jpg", { number: number });
    element("look").hidden = false;
  }

  // A young night is not measured in hours.
  function timeUnit() {
    var length_s = points[points.length - 1][0] - points[0][0];
    if (length_s < 300) { return { name: "s", s: 1 }; }
    return length_s < 7200 ? { name: "min", s: 60 } : { name: "h", s: 3600 };
  }

  function chartOptions() {
    return Object.assign(nightChart.options(), {
      axes: nightChart.legendAxes(unit.s, 2),
      labels: ["time (" + unit.name + ")", label],
      xlabel: "time since the first picture (" + unit.name + ")",
      ylabel: label,
      colors: [nightChart.colour("plus")],
      strokeWidth: 1,
      drawPoints: true,
      pointSize: 1.2,
      underlayCallback: function (context, area, drawn) {
        nightChart.drawEvents(shownEvents.map(function (event) {
          return { t: event.t_s / unit.s, event: event.event };
        }), context, area, drawn);
      }
    });
  }

  // Where the spot was lost the line has a gap.
  function chartRows() {
    var steps = [];
    for (var k = 1; k < points.length; ++k) { steps.push(points[k][0] - points[k - 1][0]); }
    steps.sort(function (a, b) { return a - b; });
    var usual = steps.length ? steps[Math.floor(steps.length / 2)] : 1;
    var rows = [];
    points.forEach(function (point, n) {
      if (n > 0 && point[0] - points[n - 1][0] > 4 * usual) {
        rows.push([(point[0] + points[n - 1][0]) / 2 / unit.s, null]);
      }
      rows.push([point[0] / unit.s, point[1]]);
    });
    return rows;
  }

  function showTrack(track) {
    if (track.edition !== edition) { points = []; }
    if (track.points.length > 0) {
      var from = track.points[0][0];
      while (points.length > 0 && points[points.length - 1][0] >= from) { points.pop(); }
      points = points.concat(track.points);
    }
    edition = track.edition;
    if (points.length < 2) { return; }
    var now = timeUnit();
    var other = label !== track.label || unit.s !== now.s;
    label = track.label;
    unit = now;
    element("night").hidden = false;
    if (chart === null) {
      chart = new Dygraph(element("chart"), chartRows(), chartOptions());
      nightChart.describeHandles(element("chart"));
      nightChart.onOtherGround(function () { chart.updateOptions(chartOptions()); });
    } else if (other) {
      chart.updateOptions(Object.assign({ file: chartRows(), dateWindow: null }, chartOptions()));
    } else {
      chart.updateOptions({ file: chartRows() });
    }
  }

  // All but the last point are final, the last may still grow.
  function askTrack() {
    var since = points.length > 1 ? points[points.length - 2][0] : -1e9;
    return ask("track.json", { edition: edition, since: since }).then(showTrack);
  }

  function showSilence(error) {
    var silence = element("silence");
    silence.hidden = error === null;
    var text = error === null ? "" : "No news from the program" +
      (heard ? " since " + heard.toLocaleTimeString() : "") + ": it has ended, or this device has " +
      "lost it (" + error.message + ").";
    if (silence.textContent !== text) { silence.textContent = text; }
  }

  function look() {
    clearTimeout(timer);
    if (busy || document.visibilityState === "hidden") { return; }
    busy = true;
    ask("state.json").then(function (state) {
      showState(state);
      return element("chart") ? askTrack() : null;
    }).then(function () {
      heard = new Date();
      showSilence(null);
    }).catch(showSilence).finally(function () {
      busy = false;
      timer = setTimeout(look, 1000);
    });
  }

  function mark(button) {
    var buttons = document.querySelectorAll("#mark button");
    var outcome = element("mark-outcome");
    buttons.forEach(function (one) { one.disabled = true; });
    fetch(address("mark", { side: button.dataset.side }), { method: "POST" })
      .then(function (response) { return response.text(); })
      .then(function (text) { outcome.textContent = text; })
      .catch(function (error) { outcome.textContent = "Not noted: " + error.message; })
      .finally(function () {
        setTimeout(function () {
          buttons.forEach(function (one) { one.disabled = false; });
        }, 2000);
      });
  }

  ["load", "error"].forEach(function (end) {
    element("picture").addEventListener(end, function () { loading = false; });
  });
  document.addEventListener("visibilitychange", look);
  if (element("mark")) {
    document.querySelectorAll("#mark button").forEach(function (button) {
      button.addEventListener("click", function () { mark(button); });
    });
  }
  look();
})();
