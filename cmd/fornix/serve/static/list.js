// The list of cases.
import { fresh, news } from './app.js';
import { dropped } from './drop.js';

dropped((last, cases) => {
	if (cases <= 1) {
		location.href = `/case/${last.case}`;
	}
});

const query = document.getElementById('q');
const address = () => query.value.trim() ? `/?q=${encodeURIComponent(query.value.trim())}` : '/';
let soon;
query.addEventListener('input', () => {
	clearTimeout(soon);
	soon = setTimeout(() => {
		history.replaceState(null, '', address());
		fresh(['cases']);
	}, 150);
});
query.form.addEventListener('submit', (e) => e.preventDefault());

news(() => fresh(['cases']));
