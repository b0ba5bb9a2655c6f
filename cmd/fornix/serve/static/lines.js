// Marks on the rim for the setting of teeth: they are set on the scan and kept in the order.
import { attempt, post } from './app.js';

// lines gives the panel its life. tell talks to the part that turns the scan, turn brings it to the front,
// near into the window: the panel stands below it.
export function lines(number, tell, turn, near) {
	const main = document.getElementById('main');
	const panel = () => document.getElementById('lines');
	const rows = () => [...panel().querySelectorAll('li')];
	const at = (li) => (li.dataset.at ? JSON.parse(li.dataset.at) : null);

	// show has the scan show the marks while the panel is open.
	function show(closed) {
		if (panel()?.open || closed) {
			tell({ landmarks: closed ? [] : rows().filter(at).map((li) => ({ name: li.dataset.key, label: li.dataset.name, at: at(li), moved: true })) });
		}
	}

	// keep writes all marks into the order: of the canine lines both or none, so that right and left are plain.
	async function keep() {
		const form = { 'marks.marked_on': '' };
		for (const key of ['midline', 'canine', 'smile']) {
			const points = rows().filter((li) => li.dataset.key.startsWith(`line-${key}-`)).map(at);
			const whole = key === 'canine' ? points.every(Boolean) : points.some(Boolean);
			form[`marks.${key}_at`] = whole ? points.filter(Boolean).map((p) => p.join(', ')).join('\n') : '';
			if (whole) {
				form['marks.marked_on'] = panel().dataset.jaw;
			}
			for (const li of rows().filter((r) => r.dataset.key.startsWith(`line-${key}-`))) {
				li.querySelector('[data-said]').textContent = !at(li) ? 'not marked' : whole ? 'in the order' : 'place the other side too';
			}
		}
		await attempt(async () => {
			const said = await post(`/case/${number}/order`, form);
			if (!said.saved) {
				throw new Error(Object.values(said.errors).join('; '));
			}
		});
	}

	main.addEventListener('toggle', (e) => {
		if (e.target.id === 'lines') {
			if (panel().open) {
				document.getElementById('correct').open = false;
				turn();
			}
			show(!panel().open && !document.getElementById('correct').open);
		} else if (e.target.id === 'correct' && e.target.open && panel()) {
			panel().open = false;
		}
	}, true);

	main.addEventListener('click', (e) => {
		const b = e.target.closest('#lines button');
		if (!b) {
			return;
		}
		if (b.id === 'no-lines') {
			rows().forEach((li) => delete li.dataset.at);
			keep();
			show();
			return;
		}
		turn();
		near();
		tell({ place: b.closest('li').dataset.key });
		document.getElementById('turn').focus();
		b.closest('li').querySelector('[data-said]').textContent = 'click on the scan where it is';
	});

	return {
		show: () => show(),
		moved(key, point) {
			const li = panel() && rows().find((r) => r.dataset.key === key);
			if (li) {
				li.dataset.at = JSON.stringify(point);
				keep();
				show();
				li.scrollIntoView({ block: 'center' });
			}
		},
	};
}
