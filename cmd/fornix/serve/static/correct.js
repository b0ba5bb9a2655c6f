// Correcting what was found: jaw, unit, landmarks that are dragged on the scan.
import { attempt, post } from './app.js';

// correct gives the panel its life. tell talks to the part that turns the scan, turn brings it to the front.
export function correct(number, scan, tell, turn) {
	const main = document.getElementById('main');
	let moved = new Map(); // key → point, not yet measured
	let freed = new Set(); // keys of given ones that shall be as found again

	const rims = ['rim-1', 'rim-2', 'rim-3']; // points on the rim's flat
	const panel = () => document.getElementById('correct');
	const rows = () => [...panel().querySelectorAll('.marks li')];
	const row = (key) => rows().find((li) => li.dataset.key === key);

	// show has the scan show its landmarks with handles while the panel is open.
	function show() {
		if (!panel()) {
			return;
		}
		tell({
			landmarks: panel().open ? rows().flatMap((li) => {
				const at = moved.get(li.dataset.key) ?? (li.dataset.at ? JSON.parse(li.dataset.at) : null);
				const changed = moved.has(li.dataset.key) || li.dataset.source === 'given' && !freed.has(li.dataset.key);
				return at ? [{ name: li.dataset.key, label: li.dataset.name, at, moved: changed }] : [];
			}) : [],
			place: '',
		});
	}

	const say = (key, text) => { row(key).querySelector('[data-said]').textContent = text; };

	main.addEventListener('toggle', (e) => {
		if (e.target.id === 'correct') {
			if (panel().open) {
				turn();
			}
			show();
		}
	}, true);

	main.addEventListener('click', (e) => {
		const b = e.target.closest('#correct button');
		if (!b) {
			return;
		}
		const key = b.closest('li')?.dataset.key;
		if (b.classList.contains('place')) {
			turn();
			tell({ place: key });
			document.getElementById('turn').focus();
			say(key, 'click on the scan where it is');
		} else if (b.classList.contains('back')) {
			moved.delete(key);
			freed.add(key);
			say(key, 'as found, not yet measured');
			show();
		} else if (b.id === 'measure-again') {
			attempt(async () => post(`/case/${number}/scan/${scan}/given`, given()));
		} else if (b.id === 'forget') {
			attempt(() => post(`/case/${number}/scan/${scan}/given`, {}));
		}
	});

	// given is all that is known better now.
	function given() {
		const was = JSON.parse(panel().dataset.given);
		const landmarks = { ...was.landmarks, ...Object.fromEntries(moved) };
		for (const key of freed) {
			delete landmarks[key];
		}
		const rim = rims.map((key) => landmarks[key] ?? (freed.has(key) || !row(key).dataset.at ? null : JSON.parse(row(key).dataset.at))).filter(Boolean);
		for (const key of rims) {
			delete landmarks[key];
		}
		if (rim.length % 3 !== 0) {
			throw new Error('Place all three points on the rim’s flat, or none.');
		}
		const jaw = document.getElementById('jaw').value, unit = document.getElementById('unit').value;
		const same = unit === (was.unit ?? ''); // in another unit points lie elsewhere
		return { ...was, landmarks: same ? landmarks : {}, rim: same ? rim : [], jaw, unit };
	}

	return {
		show,
		moved(key, at) {
			if (!panel() || !row(key)) {
				return;
			}
			moved.set(key, at);
			freed.delete(key);
			say(key, 'placed by you, not yet measured');
			show();
		},
		// anew is called when the results are others: they hold what was given.
		anew(open) {
			moved = new Map();
			freed = new Set();
			if (panel() && open) {
				panel().open = true;
			}
		},
	};
}
