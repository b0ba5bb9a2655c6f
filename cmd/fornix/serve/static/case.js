// One case: pictures and findings, what is being done, scans that come and go.
import { attempt, fresh, news, post } from './app.js';
import { dropped } from './drop.js';

const main = document.getElementById('main');
const number = document.getElementById('live').dataset.case;
const scan = () => document.getElementById('scan');
let picture = ''; // the one that was chosen; empty: the first

dropped((last) => { location.href = `/case/${last.case}?scan=${last.scan}`; });

function show(name) {
	const button = main.querySelector(`[data-picture="${CSS.escape(name)}"]`);
	if (!button) {
		return;
	}
	picture = name;
	const img = document.getElementById('shot');
	img.src = button.dataset.url;
	img.alt = button.dataset.alt;
	document.getElementById('full').href = button.dataset.url;
	document.getElementById('shot-title').textContent = button.dataset.title;
	for (const b of main.querySelectorAll('[data-picture]')) {
		b.setAttribute('aria-pressed', String(b === button));
	}
}

// On a narrow page the picture lies above the list: what was asked for is brought into view.
function look() {
	const img = document.getElementById('shot');
	const box = img.getBoundingClientRect();
	if (box.bottom < 60 || box.top > innerHeight - 60) {
		img.scrollIntoView({ block: 'nearest', behavior: matchMedia('(prefers-reduced-motion: reduce)').matches ? 'auto' : 'smooth' });
	}
}

main.addEventListener('click', (e) => {
	const b = e.target.closest('button');
	if (!b) {
		return;
	}
	if (b.dataset.picture) {
		show(b.dataset.picture);
	} else if (b.classList.contains('row')) {
		for (const r of main.querySelectorAll('.row')) {
			r.toggleAttribute('aria-current', r === b);
		}
		if (b.dataset.show) {
			show(b.dataset.show);
			look();
		}
	} else if (b.id === 'again') {
		attempt(() => post(`/case/${number}/scan/${scan().dataset.scan}/given`, {}));
	} else if (b.id === 'remove-scan') {
		if (confirm('Remove this scan and its results from the case?')) {
			attempt(async () => {
				await post(`/case/${number}/scan/${scan().dataset.scan}/remove`);
				location.href = `/case/${number}`;
			});
		}
	} else if (b.id === 'remove-case') {
		if (confirm(`Remove ${b.dataset.title} with its scans, order and results? This cannot be undone.`)) {
			attempt(async () => {
				await post(`/case/${number}/remove`);
				location.href = '/';
			});
		}
	}
});

main.addEventListener('submit', async (e) => {
	if (e.target.id !== 'sheet-form') {
		return;
	}
	e.preventDefault();
	const button = document.getElementById('sheet');
	button.disabled = true;
	button.textContent = 'Writing…';
	await attempt(() => post(`/case/${number}/sheet`, { paper: document.getElementById('paper').value }));
	await attempt(() => fresh('live', true));
});

news(async () => {
	if (await fresh('live') && picture) {
		show(picture);
	}
});
