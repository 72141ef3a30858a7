// The coloured points in space: drag to turn, wheel or pinch to zoom, keys to turn; a picture where WebGL is missing.
import {BufferAttribute, BufferGeometry, Color, PerspectiveCamera, Points, PointsMaterial, Scene, Vector3, WebGLRenderer} from 'three';
import {OrbitControls} from 'three/addons/controls/OrbitControls.js';
import {heat_rgb} from './colours.js';
import {int16_of, nothing, page} from './data.js';
import {element} from './dom.js';

function fallback(why) {
  return element('figure', {class: 'fallback'}, element('img', {src: page.picture, alt: 'The unrolled bevel face, coloured by how much wood is still to take off.'}), element('figcaption', {}, why));
}

// The drawing is made when it comes near the screen, or for paper: it is the one slow thing on the page.
export function draw_body(width) {
  const height = Math.round(Math.min(520, Math.max(280, width * 0.55)));
  const holder = element('div', {class: 'body-holder'});
  holder.style.minHeight = `${height}px`;
  let drawn = false;
  const draw = () => {
    if (drawn || !holder.isConnected) return;
    drawn = true;
    observer.disconnect();
    holder.style.minHeight = '';
    holder.append(body(width, height));
  };
  const observer = new IntersectionObserver((entries) => entries.some((e) => e.isIntersecting) && draw(), {rootMargin: '300px'});
  observer.observe(holder);
  addEventListener('beforeprint', draw);
  return holder;
}

function body(width, height) {
  if (!page.points.count) return fallback('The scan holds no points to show in space; this is the unrolled face.');
  const canvas = element('canvas', {class: 'body-3d', tabindex: '0', role: 'img', 'aria-label': 'The scanned rim in space, coloured by deviation. Arrow keys turn it, plus and minus zoom.'});
  let renderer;
  try {
    renderer = new WebGLRenderer({canvas, antialias: true, preserveDrawingBuffer: true});
  } catch {
    return fallback('This browser draws no 3-D here; this is the unrolled face instead.');
  }
  const packed = int16_of('body-points');
  const {count, quantum_mm, deviation_quantum_mm} = page.points;
  const positions = new Float32Array(3 * count), colours = new Float32Array(3 * count);
  const colour = new Color();
  for (let i = 0; i < count; ++i) {
    for (let k = 0; k < 3; ++k) positions[3 * i + k] = packed[4 * i + k] * quantum_mm;
    const q = packed[4 * i + 3];
    const [r, g, b] = q === nothing ? [150, 144, 136] : heat_rgb(q * deviation_quantum_mm, page.heat.range_mm);
    colour.setRGB(r / 255, g / 255, b / 255, 'srgb');
    colours.set([colour.r, colour.g, colour.b], 3 * i);
  }
  const geometry = new BufferGeometry();
  geometry.setAttribute('position', new BufferAttribute(positions, 3));
  geometry.setAttribute('color', new BufferAttribute(colours, 3));
  geometry.computeBoundingSphere();
  const {center, radius} = geometry.boundingSphere;
  const scene = new Scene();
  scene.background = new Color(0x2b2723);
  const points = new Points(geometry, new PointsMaterial({size: Math.max(0.4, radius / 220), vertexColors: true}));
  points.position.copy(center).negate();
  scene.add(points);

  const camera = new PerspectiveCamera(35, width / height, radius / 100, radius * 20);
  // From outside and above: `up` and `view` are the body's own directions in the scan.
  camera.up.set(...page.points.up);
  const towards = new Vector3(...page.points.view).normalize();
  camera.position.copy(towards.multiplyScalar(radius * 2.7));
  renderer.setPixelRatio(Math.min(2, window.devicePixelRatio || 1));
  renderer.setSize(width, height, false);
  canvas.style.width = '100%';
  const controls = new OrbitControls(camera, canvas);
  controls.enableDamping = false;
  controls.minDistance = radius * 0.2;
  controls.maxDistance = radius * 8;
  const render = () => renderer.render(scene, camera);
  controls.addEventListener('change', render);
  canvas.addEventListener('keydown', (event) => {
    const turn = {ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, -1], ArrowDown: [0, 1]}[event.key];
    const zoom = {'+': 0.85, '=': 0.85, '-': 1 / 0.85}[event.key];
    if (!turn && !zoom) return;
    if (zoom) camera.position.multiplyScalar(zoom);
    if (turn && turn[0]) camera.position.applyAxisAngle(camera.up, turn[0] * 0.12);
    if (turn && turn[1]) {
      const side = new Vector3().crossVectors(camera.up, camera.position).normalize();
      const turned = camera.position.clone().applyAxisAngle(side, turn[1] * 0.1);
      if (turned.clone().normalize().cross(camera.up).length() > 0.08) camera.position.copy(turned);
    }
    controls.update();
    render();
    event.preventDefault();
  });
  controls.update();
  render();
  return element('figure', {class: 'body-box'}, canvas, element('figcaption', {}, 'Drag to turn, pinch or wheel to zoom. Colours as in the map; grey is not bevel face.'));
}
