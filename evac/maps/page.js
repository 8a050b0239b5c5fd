// Bands that keep their distance from the rope on the screen, labels that make room for
// one another, and a view for paper. Needs nothing but Leaflet.
function evacBand(item) {
  var line = L.polyline(item.base, {
    color: item.color, weight: item.weight, opacity: item.opacity,
    dashArray: item.dashes, lineCap: item.dashes ? 'round' : 'butt'
  });
  line.evac = item;
  if (item.text) { line.bindTooltip(item.text, {sticky: true}); }
  return line;
}

function evacPage(map, config) {
  var legend = document.querySelector('details.legend');
  var bounds = L.latLngBounds(config.bounds);
  var HALF_CORRIDOR_PX = 30;
  // What can stand in few places comes first; names of zones have lines that lead to them.
  var RANK = ['end', 'alarm', 'support', 'height', 'zone', 'muster', 'start', 'hazard',
    'contour'];
  var MAY_GO = ['support', 'height', 'hazard', 'contour'];

  function placeBand(line) {
    var item = line.evac, zoom = map.getZoom();
    var points = item.base.map(function (place, at) {
      var way = item.normals[at];
      return map.project(place, zoom).add([way[0] * item.px, way[1] * item.px]);
    });
    if (item.trim) { // a gap between neighbours shows where one zone ends
      points = [inward(points[0], points[1], item.trim)].concat(points.slice(1, -1),
        [inward(points[points.length - 1], points[points.length - 2], item.trim)]);
    }
    line.setLatLngs(points.map(function (point) { return map.unproject(point, zoom); }));
  }
  function inward(end, next, trim) {
    var length = end.distanceTo(next) || 1;
    var share = Math.min(trim, 0.3 * length) / length;
    return end.add(next.subtract(end).multiplyBy(share));
  }

  function corridor() { // points along the line, on the screen, close together
    var points = [], step = 10;
    var line = config.axis.map(function (place) { return map.latLngToContainerPoint(place); });
    for (var at = 1; at < line.length; at += 1) {
      var steps = Math.max(1, Math.ceil(line[at - 1].distanceTo(line[at]) / step));
      for (var k = 0; k <= steps; k += 1) {
        points.push(line[at - 1].add(line[at].subtract(line[at - 1]).multiplyBy(k / steps)));
      }
    }
    return points;
  }
  function around(distances) {
    var found = [];
    distances.forEach(function (far) {
      for (var k = 0; k < 8; k += 1) {
        found.push([far * Math.cos(k * Math.PI / 4), far * Math.sin(k * Math.PI / 4)]);
      }
    });
    return found;
  }
  function beside(way, across, along) {
    var found = [];
    across.forEach(function (far) {
      along.forEach(function (shift) {
        found.push([way[0] * far - way[1] * shift, way[1] * far + way[0] * shift]);
      });
    });
    return found;
  }
  function nearest(shifts) { // a label belongs to what it stands closest to
    return shifts.sort(function (one, other) {
      return Math.hypot(one[0], one[1]) - Math.hypot(other[0], other[1]);
    });
  }
  function lead(label, shift) { // a line from a zone's band to its name
    var line = label.span.parentNode.querySelector('i');
    if (!line) {
      line = document.createElement('i');
      label.span.parentNode.insertBefore(line, label.span);
    }
    var x = label.way[0] * config.zonePx, y = label.way[1] * config.zonePx;
    line.style.width = Math.hypot(shift[0] - x, shift[1] - y).toFixed(1) + 'px';
    line.style.transform = 'translate(' + x.toFixed(1) + 'px, ' + y.toFixed(1) + 'px) rotate(' +
      Math.atan2(shift[1] - y, shift[0] - x).toFixed(4) + 'rad)';
  }
  function controls() { // boxes that buttons, north and scale cover
    var frame = map.getContainer().getBoundingClientRect();
    return Array.from(document.querySelectorAll('.leaflet-control')).map(function (item) {
      var box = item.getBoundingClientRect();
      return [box.left - frame.left, box.top - frame.top, box.right - frame.left,
        box.bottom - frame.top];
    });
  }
  // Where a label may stand, as its middle seen from its place, the best first.
  function candidates(label) {
    var half = Math.abs(label.way[0]) * label.width / 2 + Math.abs(label.way[1]) * label.height / 2;
    switch (label.kind) {
      case 'zone':
        // Beyond the line too where its own side has no room: a line leads to the band.
        return [1, -1].reduce(function (found, side) {
          return found.concat(nearest(beside(label.way, [32, 46, 66, 90, 116, 150].map(
            function (far) { return side * (far + half); }
          ), [0, 24, -24, 48, -48, 72, -72, 96, -96, 124, -124, 156, -156])));
        }, []);
      case 'height':
        // Out from the middle of its span first: along the line it would seem another's.
        return [0, 8, -8, 14, -14].reduce(function (found, along) {
          return found.concat(beside(label.way, [0, 6, 13, 20, 27].map(function (more) {
            return config.reachPx + more;
          }), [along]));
        }, []);
      case 'alarm':
        return nearest(beside(label.way, [0, 12, 26, 40].map(function (more) {
          return config.reachPx + more;
        }), [0, 10, -10, 24, -24, 38, -38]));
      case 'muster':
      case 'start':
        return around([22, 38, 56, 80, 106]);
      case 'hazard':
        return around([label.width / 2 + 6, label.width / 2 + 24]);
      default:
        return [[0, 0]];
    }
  }
  function boxOf(label, shift) {
    var x = label.at.x + shift[0], y = label.at.y + shift[1];
    return [x - label.width / 2 - 1, y - label.height / 2 - 1, x + label.width / 2 + 1,
      y + label.height / 2 + 1];
  }
  function shared(one, other) {
    var across = Math.min(one[2], other[2]) - Math.max(one[0], other[0]);
    var up = Math.min(one[3], other[3]) - Math.max(one[1], other[1]);
    return across > 0 && up > 0 ? across * up : 0;
  }
  function cost(label, box, taken, line, size) {
    var sum = 0;
    // Rather upon the line than a name upon another.
    var weight = label.kind === 'zone' ? 8 : 1;
    taken.forEach(function (other) { sum += weight * shared(box, other); });
    var free = MAY_GO.indexOf(label.kind) >= 0 || label.kind === 'alarm' || label.kind === 'end';
    if (!free || label.kind === 'hazard') {
      var radius = label.kind === 'zone' ? 26 : HALF_CORRIDOR_PX;
      line.forEach(function (point) {
        var x = Math.max(box[0] - point.x, 0, point.x - box[2]);
        var y = Math.max(box[1] - point.y, 0, point.y - box[3]);
        if (x * x + y * y < radius * radius) { sum += 40; }
      });
    }
    if (label.inside) { // do not run out of the picture
      sum += 300 * Math.max(0, 2 - box[0], 2 - box[1], box[2] - size.x + 2, box[3] - size.y + 2);
    }
    return sum;
  }
  function labels() {
    var found = [], size = map.getSize();
    map.eachLayer(function (layer) {
      var mark = layer instanceof L.Marker && layer.getElement();
      var span = mark && mark.querySelector('span');
      if (!span) { return; }
      if (!layer.evacSize) { layer.evacSize = [span.offsetWidth, span.offsetHeight]; }
      var at = map.latLngToContainerPoint(layer.getLatLng());
      found.push({
        span: span, kind: span.className.split(' ')[0], at: at,
        width: layer.evacSize[0], height: layer.evacSize[1],
        value: parseFloat(span.dataset.value || '0'),
        way: (span.dataset.way || '0,0').split(',').map(Number),
        inside: at.x > 0 && at.y > 0 && at.x < size.x && at.y < size.y
      });
    });
    // The highest first: what gives way for want of room is what worries least.
    found.sort(function (one, other) {
      return RANK.indexOf(one.kind) - RANK.indexOf(other.kind) ||
        (one.kind === 'height' ? other.value - one.value : 0);
    });
    return found;
  }
  function placeLabels() {
    var taken = controls(), line = corridor(), size = map.getSize();
    labels().forEach(function (label) {
      var best = null, least = Infinity;
      candidates(label).some(function (shift) {
        var price = cost(label, boxOf(label, shift), taken, line, size);
        if (price < least) { least = price; best = shift; }
        return price === 0;
      });
      var out = MAY_GO.indexOf(label.kind) >= 0 && least > 12;
      label.span.classList.toggle('left-out', out);
      label.span.style.transform = 'translate(calc(-50% + ' + best[0].toFixed(1) +
        'px), calc(-50% + ' + best[1].toFixed(1) + 'px))';
      if (label.kind === 'zone') { lead(label, best); }
      if (!out) { taken.push(boxOf(label, best)); }
    });
  }
  function placeAll() {
    map.eachLayer(function (layer) { if (layer.evac) { placeBand(layer); } });
    placeLabels();
  }
  function showLine() {
    map.fitBounds(bounds, {animate: false, padding: config.padding});
  }

  var north = L.control({position: 'topleft'});
  north.onAdd = function () {
    var box = L.DomUtil.create('div', 'north');
    box.title = config.northLabel;
    box.innerHTML = config.north + '<br>&#8593;';
    return box;
  };
  north.addTo(map);
  L.control.scale({imperial: config.feet}).addTo(map);
  map.attributionControl.setPrefix('Leaflet');
  document.querySelectorAll('.leaflet-control-layers-toggle').forEach(
    function (toggle) { toggle.title = config.layersLabel; });

  legend.open = window.innerWidth > 900;
  legend.addEventListener('toggle', function () { map.invalidateSize({animate: false}); });
  map.on('zoomend resize overlayadd overlayremove', placeAll);
  map.whenReady(function () { map.invalidateSize({animate: false}); showLine(); placeAll(); });

  var before = null;
  window.addEventListener('beforeprint', function () {
    before = {centre: map.getCenter(), zoom: map.getZoom(), open: legend.open};
    document.body.classList.add('printing');
    legend.open = true;
    map.invalidateSize({animate: false});
    showLine();
    placeAll();
  });
  window.addEventListener('afterprint', function () {
    document.body.classList.remove('printing');
    legend.open = before.open;
    map.invalidateSize({animate: false});
    map.setView(before.centre, before.zoom, {animate: false});
    placeAll();
  });
}
