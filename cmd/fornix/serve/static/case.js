// One case: how to look at it, its findings, what is being done, scans that come and go.
import { attempt, fresh, news, post, send } from './app.js';
import { correct } from './correct.js';
import { dropped } from './drop.js';
import { lines } from './lines.js';

const main = document.getElementById('main');
const section = document.getElementById('scan');
const { case: number, scan } = section.dataset;
let picture = ''; // the one that was chosen; empty: the first
let mode = 'turn'; // or pictures
let ready = false; // the part that turns the scan can be talked to

dropped((last) => { location.href = `/case/${last.case}?scan=${last.scan}`; });

const frame = () => document.getElementById('turn');
const tell = (what) => ready && frame()?.contentWindow.postMessage(what, '*'); // it has no origin to be named
const correcting = correct(number, scan, tell, () => look('turn'));
const marking = lines(number, tell, () => look('turn'), () => bring(frame()));

// What the part says: it is not trusted with more than places and sizes.
addEventListener('message', (e) => {
	const said = e.data;
	if (!frame() || e.source !== frame().contentWindow || !said || said.fornix !== 'part') {
		return;
	}
	if (said.ready) {
		ready = true;
		frame().dataset.ready = 'yes';
		correcting.show();
		marking.show();
	}
	if (said.flat) {
		look('pictures');
	}
	if (Number.isFinite(said.height)) {
		frame().style.height = `${Math.min(3000, Math.max(300, Math.ceil(said.height)))}px`;
	}
	if (Number.isInteger(said.finding)) {
		mark(main.querySelector(`.row[data-number="${said.finding}"]`));
	}
	if (typeof said.moved === 'string' && Array.isArray(said.at) && said.at.length === 3 && said.at.every(Number.isFinite)) {
		correcting.moved(said.moved, said.at);
		marking.moved(said.moved, said.at);
	}
});

// look changes between turning the scan and its pictures.
function look(to) {
	mode = to;
	const turn = frame(), pictures = document.getElementById('pictures');
	if (!turn || !pictures) {
		return;
	}
	turn.hidden = to !== 'turn';
	pictures.hidden = to === 'turn';
	for (const b of main.querySelectorAll('[data-mode]')) {
		b.setAttribute('aria-pressed', String(b.dataset.mode === to));
	}
}

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

function mark(row) {
	for (const r of main.querySelectorAll('.row')) {
		r.toggleAttribute('aria-current', r === row);
	}
}

// On a narrow page the view lies above the list: what was asked for is brought into view.
function bring(el) {
	const box = el.getBoundingClientRect();
	if (box.top < -100 || box.top > innerHeight - 300) {
		el.scrollIntoView({ block: 'start', behavior: matchMedia('(prefers-reduced-motion: reduce)').matches ? 'auto' : 'smooth' });
	}
}

function finding(row) {
	mark(row);
	if (row.dataset.show) {
		show(row.dataset.show);
	}
	if (mode === 'turn' && ready && row.dataset.number !== '0') {
		tell({ fly: Number(row.dataset.number) });
		bring(frame());
	} else if (row.dataset.show) {
		look('pictures');
		bring(document.getElementById('shot'));
	}
}

const address = `/case/${number}/scan/${scan}`;
const jobs = {
	again: () => post(`${address}/given`, {}),
	'remove-scan': async () => {
		if (confirm('Remove this scan and its results from the case?')) {
			await post(`${address}/remove`);
			location.href = `/case/${number}`;
		}
	},
	'remove-case': async (b) => {
		if (confirm(`Remove ${b.dataset.title} with its scans, order and results? This cannot be undone.`)) {
			await post(`/case/${number}/remove`);
			location.href = '/';
		}
	},
};

main.addEventListener('click', (e) => {
	const b = e.target.closest('button');
	if (!b) {
		return;
	}
	if (b.dataset.picture) {
		show(b.dataset.picture);
	} else if (b.dataset.mode) {
		look(b.dataset.mode);
	} else if (b.classList.contains('row')) {
		finding(b);
	} else if (b.dataset.photo) {
		if (confirm('Remove this photograph?')) {
			attempt(async () => { await post(`/case/${number}/photo/${b.dataset.photo}/remove`); await refresh(); });
		}
	} else if (jobs[b.id]) {
		attempt(() => jobs[b.id](b));
	}
});

main.addEventListener('change', (e) => {
	if (e.target.id === 'photo') {
		const files = [...e.target.files];
		e.target.value = '';
		attempt(async () => {
			for (const file of files) {
				await send(`/case/${number}/photo`, file, () => {});
			}
		}).then(refresh);
	}
});

main.addEventListener('submit', async (e) => {
	if (e.target.id !== 'sheet-form') {
		return;
	}
	e.preventDefault();
	const button = document.getElementById('sheet'), was = button.textContent;
	button.disabled = true;
	button.textContent = 'Writing…';
	await attempt(() => post(`/case/${number}/sheet`, { paper: document.getElementById('paper').value }));
	await attempt(refresh);
	const still = document.getElementById('sheet');
	still.disabled = false;
	if (still === button) {
		still.textContent = was;
	}
});

async function refresh() {
	const open = document.getElementById('correct')?.open, marks = document.getElementById('lines')?.open;
	const changed = await fresh(['top', 'status', 'results', 'leave']);
	if (changed.includes('results')) {
		ready = false;
		look(mode);
		if (picture) {
			show(picture);
		}
		correcting.anew(open);
	}
	if (changed.includes('leave') && marks) {
		document.getElementById('lines').open = true;
	}
}

news(refresh);
